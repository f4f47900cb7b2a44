package screening

import (
	"slices"
)

// Kind is how a question is answered.
type Kind string

// Kinds of questions.
const (
	YesNo  Kind = "yes_no_not_sure"
	Date   Kind = "date" // YYYY-MM-DD, or not_sure
	Text   Kind = "text" // at most MaxText characters
	Choice Kind = "choice"
)

// Answers that are the same everywhere.
const (
	Yes     = "yes"
	No      = "no"
	NotSure = "not_sure"
)

// MaxText is the longest answer to a question of kind Text, in characters
// (judgement).
const MaxText = 500

// Question is one question of a form.
type Question struct {
	ID      string
	Text    string // as it is asked
	For     string // what it is asked for
	Kind    Kind
	Choices []Option // of kind Choice
	// After is the question, answered by yes or not sure, that this one belongs
	// to; it is not asked otherwise. "" for a question that stands alone.
	After string
	// Optional questions may be left unanswered. Only texts are optional.
	Optional bool
	Rules    []Rule
}

// Option is one answer to a question of kind Choice.
type Option struct{ ID, Text string }

// Rule says what an answer leads to.
type Rule struct {
	// On are the answers it holds for. None: yes and not sure, and for a date
	// any.
	On    []string
	Level Level // Clear for a note that hinders nothing
	Code  string
	Words string // for the stylist
	// StrandTest asks for a test on a few strands first. Lift marks a DoNotBook
	// that the licensed person may lift once that test was held.
	StrandTest, Lift bool
	// Rebook asks to book again later, kindly.
	Rebook bool
	// Days is how many days after the date that was answered, or after the day of
	// the consultation for other kinds, the first service with chemicals may be.
	Days   int
	Source string // where the rule comes from
}

// holds reports whether the rule holds for an answer.
func (r Rule) holds(k Kind, answer string) bool {
	switch {
	case len(r.On) > 0:
		return slices.Contains(r.On, answer)
	case k == YesNo:
		return answer != No
	}
	return k == Date
}

// Form is the consultation form of a salon.
type Form struct {
	Version   int // of the salon's form
	Standard  int // version of the questions that the program brings along
	Questions []Question
	Consent   string // what the client agrees to
	// ConsentWording is the version of Consent.
	ConsentWording int
}

// Question finds a question of the form.
func (f Form) Question(id string) (Question, bool) {
	i := slices.IndexFunc(f.Questions, func(q Question) bool { return q.ID == id })
	if i < 0 {
		return Question{}, false
	}
	return f.Questions[i], true
}

// Newest is the newest version of the questions that the program brings along.
const Newest = 1

// NewForm makes version of a salon's form from the standard questions of a
// version and its own ones. It returns false when the program does not know that
// version of the standard questions.
func NewForm(version, standard int, own []Own) (Form, bool) {
	if standard != 1 {
		return Form{}, false
	}
	f := Form{Version: version, Standard: standard, Consent: consent1, ConsentWording: 1, Questions: slices.Clone(standard1)}
	for i, o := range own {
		f.Questions = append(f.Questions, o.question(i))
	}
	return f, true
}

// Words says an answer to the question as it was offered.
func (q Question) Words(answer string) string {
	if i := slices.IndexFunc(q.Choices, func(o Option) bool { return o.ID == answer }); i >= 0 {
		return q.Choices[i].Text
	}
	switch {
	case q.Kind == Text:
		return answer
	case answer == Yes:
		return "Yes"
	case answer == No:
		return "No"
	case answer == NotSure:
		return "Not sure"
	}
	return answer
}
