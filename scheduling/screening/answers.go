package screening

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/rickb777/date"

	"chairblock/scheduling"
)

// Answer is what was said to one question: yes, no or not_sure, the id of a
// choice, a date as YYYY-MM-DD or not_sure, or a text.
type Answer struct{ Question, Text string }

// yearsBack is how far back an answered date may lie: longer than any hair that
// is treated has grown (judgement).
const yearsBack = 20

// Check returns scheduling.Faults for answers that do not fit the form, given
// on a day: unknown and repeated questions, wrong and missing answers, and
// answers that contradict each other. Fields are "[3].answer" and the like, ""
// for what is missing. No fault repeats an answer.
func (f Form) Check(list []Answer, on date.Date) error {
	var faults scheduling.Faults
	if len(list) > len(f.Questions) {
		faults.Addf("", fmt.Sprintf("at most %d answers, one for each question", len(f.Questions)), "has %d entries", len(list))
		return faults
	}
	given := map[string]string{}
	at := map[string]string{}
	for i, a := range list {
		field := fmt.Sprintf("[%d].", i)
		q, known := f.Question(a.Question)
		_, again := given[q.ID]
		switch {
		case !known:
			faults.Add(field+"question", "is not a question of this form", "an id of the form's questions")
			continue
		case again:
			faults.Add(field+"question", "is answered twice", "each question once")
			continue
		}
		given[q.ID], at[q.ID] = a.Text, field+"answer"
		q.check(&faults, field+"answer", a.Text, on)
	}
	if faults == nil { // what is no answer agrees with nothing
		f.agree(&faults, given, at)
	}
	f.complete(&faults, given, at)
	return faults.Err()
}

// check adds what is wrong with one answer.
func (q Question) check(f *scheduling.Faults, field, answer string, on date.Date) {
	switch q.Kind {
	case YesNo:
		if answer != Yes && answer != No && answer != NotSure {
			f.Add(field, "is no answer to this question", "yes, no or not_sure")
		}
	case Choice:
		if !slices.ContainsFunc(q.Choices, func(o Option) bool { return o.ID == answer }) {
			ids := make([]string, len(q.Choices))
			for i, o := range q.Choices {
				ids[i] = o.ID
			}
			f.Add(field, "is no answer to this question", "one of "+strings.Join(ids, ", "))
		}
	case Date:
		const want = "a date such as 2026-05-07 of the last 20 years, not after the consultation, or not_sure"
		if answer == NotSure {
			return
		}
		d, err := date.ParseISO(answer)
		switch {
		case err != nil || d.String() != answer:
			f.Add(field, "is no date", want)
		case d.After(on), d.Before(on.AddDate(-yearsBack, 0, 0)):
			f.Add(field, "lies out of the time that is asked about", want)
		}
	case Text:
		n := utf8.RuneCountInString(answer)
		switch {
		case n > MaxText:
			f.Addf(field, fmt.Sprintf("at most %d characters", MaxText), "has %d characters", n)
		case !utf8.ValidString(answer), strings.ContainsFunc(answer, func(r rune) bool { return unicode.IsControl(r) && r != '\n' }):
			f.Add(field, "holds a control character", "plain text")
		case strings.TrimSpace(answer) == "" && !q.Optional:
			f.Add(field, "is empty", fmt.Sprintf("1 to %d characters", MaxText))
		}
	}
}

// complete adds what is missing and what is not asked.
func (f Form) complete(faults *scheduling.Faults, given, at map[string]string) {
	for _, q := range f.Questions {
		_, answered := given[q.ID]
		asked := q.After == "" || given[q.After] == Yes || given[q.After] == NotSure
		switch {
		case !answered && asked && !q.Optional:
			faults.Add("", "lacks the answer to "+q.ID, "an answer to every question of the form")
		case answered && !asked:
			faults.Add(at[q.ID], "goes with a yes or not sure to "+q.After+" only", "no answer, or another one to "+q.After)
		}
	}
}

// agree adds what contradicts another answer.
func (f Form) agree(faults *scheduling.Faults, given, at map[string]string) {
	if given[whereDone] != nothingDone {
		return
	}
	for _, id := range doneBefore {
		if a, ok := given[id]; ok && a != No && a != NotSure {
			faults.Add(at[whereDone], "says that nothing was done, and the answer to "+id+" that something was", "answers that fit together")
			return
		}
	}
}
