// Package phone is the page for handlers' phones: the film guide, and sending
// clips to the practitioner's computer. A clip arrives in pieces and can be gone
// on with after any interruption; it is put into the visit's folder whole, under
// a name of the program's own, and never over another file; then the film check
// tells the handler, while the horse is still there, whether to film again.
//
// The page does nothing else. It names the yard's horses and sees no record, no
// clip and no result. It has a token of its own, which opens nothing of the
// practitioner's page.
//
// What is sent travels under TLS with a certificate that the program makes for
// itself (see certificate.go), unless plain HTTP was asked for.
package phone
