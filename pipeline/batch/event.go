package batch

// EventKind says what an event tells.
type EventKind string

// The kinds of events, in the order in which they come.
const (
	EventStart    EventKind = "start"    // Folder, Share.
	EventNote     EventKind = "note"     // Text: something that people should know.
	EventPlan     EventKind = "plan"     // Done of Total clips have been looked at.
	EventPlanned  EventKind = "planned"  // Totals of what needs no measuring; Total clips are to be measured.
	EventBegin    EventKind = "begin"    // Clip is being measured; Text says why.
	EventProgress EventKind = "progress" // Clip: Stage, Done of Total.
	EventLater    EventKind = "later"    // Clip was begun and gets another turn; Text says why.
	EventClip     EventKind = "clip"     // Entry is final.
	EventEnd      EventKind = "end"      // Totals, Page.
)

// Event is one thing that happened in a batch. Fields that its kind does not
// name are zero.
type Event struct {
	Kind   EventKind
	Folder string
	Share  Share
	Clip   string // Path below the folder.
	Bytes  int64  // Size of the clip, with EventBegin and EventClip; of all clips to be measured, with EventPlanned.
	Text   string
	Stage  string
	Done   int
	Total  int
	Entry  *Entry
	Totals Totals
	Page   string // Path of the morning page; empty where none could be written.
	Error  string // Why the batch ended before its end, with EventEnd.
}
