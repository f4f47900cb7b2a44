package pages

// Frame is what every page for people who are signed in has around it, for the
// templates "open" and "close" (see Shared).
type Frame struct {
	Title, Salon string
	Sub          string // beside the salon's name, such as whose time this is
	AsOf         string // when the data was read, "10:42"
	Ways         []Way
	Who          Who
	// Done says what has just been done, Summary what has to be put right.
	Done    string
	Summary []FieldError
	Undo    Undo     // what was done last, when it can be taken back
	Scripts []string // names of assets
	Styles  []string // the same, beside the one that every page has
	// Manifest is the address of the manifest of pages that can be installed.
	Manifest string
	Class    string // of the body
}

// Who says who uses the browser, for the template "who". The zero value draws
// nothing.
type Who struct {
	Name     string
	Shared   bool   // the screen is one that several people use
	ReadOnly bool   // nobody has said who she is
	Until    string // "10:45": so long she is that person on a shared screen, "" otherwise
	Here     string // address of the page, to come back to
	Me       string // names the person to what her browser keeps, no secret
}

// Way is a link to another page.
type Way struct {
	Href, Text string
	Here       bool // this is the page
	Count      int  // how many things wait there, 0 for none
}
