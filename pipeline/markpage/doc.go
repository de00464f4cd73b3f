// Package markpage serves the local page on which a person does by hand what
// only a person can: list the clips of a folder and what each one needs, mark
// landmarks and the ground, check how a clip was filmed, look over what
// tracking made of it, and keep the visit's record.
//
// The page is plain HTML, CSS and JavaScript modules, embedded in the program;
// nothing is fetched from elsewhere and nothing is sent there.
//
// # Safety
//
// The server listens on a loopback address unless it is told otherwise. Every
// request needs the random token of this start, first in the address that the
// program prints, from then on in a cookie that no other site and no script
// can read. Requests under another host name (DNS rebinding) or from another
// origin are refused, bodies are bounded, and no path outside the folder can be
// read or written, through symbolic links neither. Reports open in a sandbox
// in which no script runs.
//
// # What is proposed and taken over
//
// Which way the horse goes, where it is in the picture and the small pictures of
// the scrubber come from one quick look through the clip (overview.go). Ground
// marks are taken over from a clip beside it only where what stands still lies
// where it lay, to half a pixel (carry.go). Marks that a Proposer finds are shown
// to be confirmed; they live on the page alone until then, so nothing that nobody
// looked at is ever saved or measured (proposals.go).
//
// # What is saved when
//
// Every click and every letter is saved at once to the clip's marks file, whole or not at all.
// A request names the version it changes (If-Match), so that two windows cannot
// overwrite each other unseen. While the program is away, the page keeps the
// clicks in the browser and sends them when it is back; for that the port is
// derived from the folder, so that the page finds the program again.
package markpage
