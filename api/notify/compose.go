package notify

import (
	"fmt"
	"strings"
)

// Compose writes message k about f in the language w: a subject of one line, a
// plain text with LF line ends, and the same as a page. The same facts give
// the same words. What w lacks is written in English.
//
// All kinds need the salon's name, phone and zone, and besides
//
//   - Held: Services, Start, End, HeldUntil
//   - Confirmation, Prepare, Reminder: Services, Start, End
//   - Moved: the same and Before
//   - Cancelled, DidNotCome: Start
//   - RunningLate, ClientLate: Start and LateMinutes
//   - Aftercare, AftercareEnd: End and KeepDryUntil
//   - DayAfter: End; KeepDryUntil while that lasts
//   - FirstWash: WithinFrom and WithinTo
//   - Retouch, RetouchAgain: WithinFrom
//   - DayChanged: Changes
//   - HelperAway: Start and Helper
//   - CheckDue: CheckAt and CheckBy
//   - ClientLate, DidNotCome, HelperAway, CheckDue: ClientInitials
//
// Kinds with Services need KeepDryUntil when Straightening.
//
// Compose returns scheduling.Faults when a fact is missing or impossible, and
// a *scheduling.InvalidError when the message grows over 64 kilobytes.
func Compose(w *Words, k Kind, f Facts) (Message, error) {
	if err := f.check(k); err != nil {
		return Message{}, fmt.Errorf("notify: compose: %w", err)
	}
	m, err := w.speaking(k, false, f).compose(k, f)
	if err != nil {
		return Message{}, fmt.Errorf("notify: compose %s: %w", k, err)
	}
	return m, nil
}

// maxSubjectFact is the longest name in a subject, in characters: phones show
// some forty of the whole line (judgement).
const maxSubjectFact = 60

// compose writes a message about facts that check has let through.
func (w *Words) compose(k Kind, f Facts) (Message, error) {
	v, t, round := w.values(k, f), w.kinds[k], w.framing(k)
	subject, err := oneLine(v.cut(maxSubjectFact), t.subject)
	if err != nil {
		return Message{}, err
	}
	body, err := layout(v, round.head, t.body)
	if err != nil {
		return Message{}, err
	}
	foot, err := layout(v, round.foot)
	if err != nil {
		return Message{}, err
	}
	m := Message{Subject: clean(subject), Text: w.plain(append(body[:len(body):len(body)], foot...))}
	m.HTML, err = w.page(m.Subject, body, foot)
	return m, err
}

// maxShort is the longest text message, in characters: three parts (judgement) of 153
// letters of the alphabet of 3GPP TS 23.038.
const maxShort = 459

// Short writes message k about f as one text message of at most 459
// characters, see Parts. Where it would be longer, names are cut, then links
// left out; the times stay whole. It fails as Compose does.
func (w *Words) Short(k Kind, f Facts) (string, error) {
	if err := f.check(k); err != nil {
		return "", fmt.Errorf("notify: short: %w", err)
	}
	s, err := w.speaking(k, true, f).short(k, f)
	if err != nil {
		return "", fmt.Errorf("notify: short %s: %w", k, err)
	}
	return s, nil
}

// What short does when the shortest names are too long.
const (
	noLinks = 0  // leaves out links but those to answer and to stop
	noStop  = -1 // then the one to stop
)

// short tries ever shorter names. The link to stop goes last, and never from
// what asks a client to come again.
func (w *Words) short(k Kind, f Facts) (string, error) {
	var s string
	for _, longest := range []int{maxFact, 60, 30, 16, noLinks, noStop} {
		switch longest {
		case noLinks:
			f.Link, f.BookLink, f.DayLink = "", "", ""
		case noStop:
			if k.invites() {
				return "", tooLong(characters(s))
			}
			f.StopLink = ""
		}
		longest = max(longest, 16)
		var err error
		if s, err = shortLines(w.values(k, f).cut(longest), w.kinds[k].short); err != nil {
			return "", err
		}
		if characters(s) <= maxShort {
			return s, nil
		}
	}
	return "", tooLong(characters(s))
}

// cut returns v with shorter facts; links stay whole, since half a link leads
// nowhere.
func (v values) cut(longest int) values {
	short := make(values, len(v))
	for name, x := range v {
		if r := []rune(x.text); x.fact && x.href == "" && len(r) > longest {
			x.text = strings.TrimRight(string(r[:longest-1]), " ,") + "."
		}
		if x.entries != nil {
			entries := make([]values, len(x.entries))
			for i, e := range x.entries {
				entries[i] = e.cut(longest)
			}
			x.entries = entries
		}
		short[name] = x
	}
	return short
}

// shortLines puts the values into a text without markup.
func shortLines(v values, text []node) (string, error) {
	x := &expansion{values: v}
	x.run(text)
	x.gap()
	var out []string
	for _, b := range x.blocks {
		for _, line := range b.lines {
			var s strings.Builder
			for _, p := range line {
				s.WriteString(p.text)
			}
			out = append(out, strings.TrimSpace(plainSigns.Replace(s.String())))
		}
	}
	return strings.Join(out, "\n"), x.err
}
