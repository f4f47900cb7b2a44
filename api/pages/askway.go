package pages

// AskWay is the question how a client, or a minor's guardian, wants to hear of
// visits, where nobody has asked yet.
type AskWay struct {
	// Action takes the answer as "way", and Back the page to come back to as "back".
	Action, Back string
	Guardian     bool
	Ways         []Option // that what is noted of her allows; none: nothing is noted
	NoteHref     string   // where an address or a number is noted
}
