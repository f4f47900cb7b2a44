package pages

import (
	"bytes"
	"fmt"
	"html/template"
	"io"
	"time"

	"chairblock/scheduling/chairtime"
)

// BookPage is the page that books a visit. It grows: the form alone, then the
// estimate below it, then the openings, at last what was booked.
type BookPage struct {
	Salon     string
	BoardHref string // link to the day board, "" for none
	Ways      []Way  // links to other pages
	Who       Who    // who uses the browser
	Undo      Undo   // what was done last, when it can be taken back
	AsOf      string // when the data was read, "10:42"
	// Action is the path that the form posts to; "" means "/book".
	Action string
	Step   BookStep
	Fields BookFields
	// Errors are shown in a summary that takes the focus and beside their fields.
	Errors []FieldError
	// Matches are the clients whom the search has found, with the one who is chosen;
	// MatchWords says how many, or why there are none.
	Matches    []ClientMatch
	MatchWords string
	Services   []ServiceOption
	Stylists   []Option
	// PhoneQuestions offers the three questions for hair that nobody has seen.
	PhoneQuestions bool
	// Quote is the id of a quote whose price is kept, Quoted that price and how long it
	// is kept, in words; "" for none.
	Quote, Quoted string
	Estimate      *EstimateView
	// Beside is the visit that the booked one is to belong to, nil for none.
	Beside *BesideView
	// QuoteKey makes the estimate's price a quote, "" where that is not offered;
	// QuoteWords say for whom and for how long, or why not.
	QuoteKey, QuoteWords string
	// Openings are shown by day, the days in the order of their first; NoOpenings
	// says kindly why there are none.
	Openings   []OpeningView
	NoOpenings string
	SetUpHref  string // where it is entered what the salon lacks, "" for who may not
	// MoreOpenings offers to show more of them, LaterFrom (YYYY-MM-DD) to look
	// from that day on, "" for neither.
	MoreOpenings bool
	LaterFrom    string
	Able         []Option // the stylists who could do it
	// Consultations are the times for the consultation that has to come first; the
	// openings are then pencilled behind the chosen one. Behind says why.
	Consultations []OpeningView
	Behind        string
	// Hair is drawn beside the fields of the hair, nil for no drawing.
	Hair *HairDrawing
	// HoldMinutes is how long an opening is pencilled; 0 offers no pencil.
	HoldMinutes int
	// Pencilled is the visit that is decided about at StepPencilled.
	Pencilled *PencilledView
	Booked    *BookedView
	// Location is the salon's; nil leaves times in their own.
	Location *time.Location
	Hour12   bool
	// Inches is true where the salon measures in them instead of centimetres.
	Inches bool
	// Known is what the hair of a known client should be like, nil before it was
	// asked for.
	Known *KnownHair
}

// KnownHair is how the hair that was filled in was worked out, and what has to
// be asked about it, a sentence each.
type KnownHair struct{ Lines []string }

// BesideView is a visit that is booked and to which another one is to belong.
type BesideView struct {
	ID, Href   string
	Who, With  string
	Start, End time.Time
	Fixed      string // how, in words, where that is settled
}

// BookStep is how far the page has grown.
type BookStep string

// Steps of the page. The zero value is StepForm.
const (
	StepForm      BookStep = ""
	StepEstimate  BookStep = "estimate"
	StepOpenings  BookStep = "openings"
	StepPencilled BookStep = "pencilled"
	StepBooked    BookStep = "booked"
)

// FieldError says what is wrong with one field and what would be right. Field
// is the name in the form; a path such as "head.length_cm" is understood by its
// last part. A Field that the form does not have is shown in the summary only.
type FieldError struct{ Field, Text string }

// Option is one entry of a list to choose from.
type Option struct{ ID, Name string }

// ClientMatch is a client whom a search has found.
type ClientMatch struct {
	ID, Name   string // first name and initial
	Phone      string // the last digits of the number, "" for none
	Last, Next string // visits in words, "" for none
}

// ServiceOption is a service. NeedsHair tells whether its time depends on the
// hair; the hair fields are put away otherwise.
type ServiceOption struct {
	ID, Name  string
	NeedsHair bool
}

// EstimateView is an estimate in the words of the salon.
type EstimateView struct {
	Service string
	Lines   []EstimateLine
	// Chemical asks for the safety line.
	Chemical bool
	// KeepMinutes is what is booked; OutOfTen visits of ten end within it (0
	// leaves the sentence out). MeanMinutes is the expected length; 0 says that
	// the minutes are fixed.
	KeepMinutes, OutOfTen int
	MeanMinutes           float64
	// FromMinutes and ToMinutes are set when the hair was only described.
	FromMinutes, ToMinutes int
	// KeepMost is what the slowest stylist keeps, 0 where that is the same for all.
	KeepMost int
	// Counted says how the minutes were counted where that is no working by steps.
	Counted string
	Price   string
	// PriceWorking is the sum behind the price, "" when there is none to show.
	PriceWorking string
	// FirstSectionMinutes is how long product is on the first section, 0 when no
	// product is used.
	FirstSectionMinutes float64
	// FirstSectionWorking is the sum behind it, "30 applying + 15 processing = 45
	// min"; "" shows the minutes alone.
	FirstSectionWorking string
	// Why says how what belongs to no one step is counted.
	Why []CountLine
	// Pace says where the minutes follow records instead of the sheet.
	Pace     []string
	Cautions []Caution
	Plans    []PlanView
	// StillNeeded is what must be there before the visit can start.
	StillNeeded []string
	// Bookable is false when a caution refuses the plan: no times are offered.
	Bookable bool
}

// CountLine is one figure and the sum behind it.
type CountLine struct{ What, Working string }

// EstimateLine is one step: the minutes expected, those booked, and the working
// behind the former.
type EstimateLine struct {
	Step     string
	Expected float64
	Minutes  int
	Working  string
}

// Caution is a warning with its level.
type Caution struct {
	Level CautionLevel
	Text  string
	Href  string // where the owner changes what it is about, "" for nowhere
}

// CautionLevel says what follows from a caution.
type CautionLevel string

// Levels of caution.
const (
	CautionWarn     CautionLevel = "warn"
	CautionNeedsYes CautionLevel = "needs_yes"
	CautionRefuse   CautionLevel = "refuse"
)

// Words says the level in words. A level from the future counts as needing the
// licensed person's yes, never as less.
func (c CautionLevel) Words() string { return chairtime.CautionLevel(c).Words() }

// Class is the level as the style sheet knows it.
func (c CautionLevel) Class() string {
	if c == CautionWarn || c == CautionRefuse {
		return string(c)
	}
	return string(CautionNeedsYes)
}

// PlanView is another way to do the same service: with a helper, in batches.
type PlanView struct {
	Hands, Batches int
	Text           string // "with a helper, 2 batches: 4¼ hours, product on first section 28 min"
	Chosen         bool
}

// OpeningView is one start that fits.
type OpeningView struct {
	ID  string // letters, digits, "-", "_", "." and "~"
	Key string // idempotency key of booking this opening
	// Start and End bound the visit; DryUntil is when the hair may get wet again,
	// nil when that does not matter.
	Start, End  time.Time
	DryUntil    *time.Time
	UntiedUntil *time.Time // nil: as DryUntil
	With, Chair string
	Waiting     int    // minutes of it without any step
	Why         string // why it is ranked here, "" for nothing to say
	Price       string // between which it lies with this stylist, "" where that is the same for all
	// Small is the day as a drawing, "" for none, and Chosen marks the time that is
	// taken for the consultation.
	Small  template.HTML
	Chosen bool
}

// PencilledView is a visit that is pencilled, until it is booked or given up.
type PencilledView struct {
	ID      string // letters, digits, "-", "_", "." and "~"
	Version int64  // of the visit when the page was made
	Service string
	// Start and End bound the visit; DryUntil is when the hair may get wet again,
	// nil when that does not matter.
	Start, End  time.Time
	DryUntil    *time.Time
	UntiedUntil *time.Time // nil: as DryUntil
	With, Chair string
	Price       string
	// Until is when the time is free again for others, Now when the page was made.
	Until, Now  time.Time
	StillNeeded []string
	First       []Option // addresses at which what is needed can be booked
	Cautions    []Caution
	Chemical    bool // asks for the safety line
}

// BookedView is what was booked.
type BookedView struct {
	Client, Service string
	Start, End      time.Time
	DryUntil        *time.Time
	UntiedUntil     *time.Time // nil: as DryUntil
	With, Chair     string
	Price           string
	StillNeeded     []string
	First           []Option // addresses at which what is needed can be booked
	Cautions        []Caution
	ApprovedBy      string // who said yes to them
	Chemical        bool   // asks for the safety line
	Deposit         string // what was asked ahead, "" for nothing
	Messages        []MessageDue
	NoMessages      string // why there are none
	AskWay          *AskWay
	VisitHref       string
	// Behind is what is pencilled behind it, BehindHref the page that decides about
	// that.
	Behind, BehindHref string
	// ComeWith is its id where somebody can still come with her; Together says whom it
	// belongs to, and How in the words of FieldHow, "" for nobody.
	ComeWith, Together, How string
}

// MessageDue is one message or call that the visit brings about.
type MessageDue struct {
	At   time.Time
	How  string // "text", "mail", "call"
	What string // "asks for a yes"
}

// RenderBook writes the booking page. It returns an error of w, wrapped, or
// scheduling.Faults when a link or an opening's id cannot be written.
func RenderBook(w io.Writer, p BookPage) error {
	if err := p.validate(); err != nil {
		return fmt.Errorf("pages: render book: %w", err)
	}
	var buf bytes.Buffer
	if err := templates.ExecuteTemplate(&buf, "book", newBookView(p)); err != nil {
		return fmt.Errorf("pages: render book: %w", err)
	}
	if _, err := w.Write(buf.Bytes()); err != nil {
		return fmt.Errorf("pages: render book: %w", err)
	}
	return nil
}
