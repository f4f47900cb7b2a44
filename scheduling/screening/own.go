package screening

import (
	"fmt"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"

	"chairblock/scheduling"
)

// MaxOwn is how many questions of its own a salon may add (judgement).
const MaxOwn = 10

// maxOwnText is the longest question of a salon's own, in characters (judgement).
const maxOwnText = 200

// Own is a question that a salon adds, answered by yes, no or not sure. A yes
// or not sure leads to Level, Ask or DoNotBook.
type Own struct {
	Text  string
	Level Level
}

// ownID names the i-th own question within its version of the form.
func ownID(i int) string { return fmt.Sprintf("own_%d", i+1) }

func (o Own) question(i int) Question {
	words := "The salon's own question was answered by yes or not sure: the licensed person decides."
	if o.Level == DoNotBook {
		words = "The salon's own question was answered by yes or not sure: by the salon's own rule nothing is booked."
	}
	return Question{ID: ownID(i), Text: o.Text, For: "The salon asks this itself.", Kind: YesNo,
		Rules: []Rule{{Level: o.Level, Code: ownID(i), Words: words, Source: "the salon's own rule"}}}
}

// origin finds what nobody is asked. It knows English words only; the owner
// answers for the rest.
var origin = regexp.MustCompile(`(?i)\b(ethnic\w*|ancest\w*|national\w*|race|racial\w*|origin|origins|skin colou?r)\b`)

// CheckOwn returns scheduling.Faults for what is wrong with a salon's own
// questions, by fields such as "[2].text".
func CheckOwn(list []Own) error {
	var f scheduling.Faults
	if len(list) > MaxOwn {
		f.Addf("", fmt.Sprintf("at most %d questions", MaxOwn), "has %d entries", len(list))
		return f
	}
	seen := map[string]bool{}
	for i, o := range list {
		at := fmt.Sprintf("[%d].", i)
		switch n := utf8.RuneCountInString(strings.TrimSpace(o.Text)); {
		case n == 0:
			f.Add(at+"text", "is empty", fmt.Sprintf("a question of at most %d characters", maxOwnText))
		case n > maxOwnText:
			f.Addf(at+"text", fmt.Sprintf("at most %d characters", maxOwnText), "has %d characters", n)
		case strings.ContainsFunc(o.Text, unicode.IsControl), strings.ContainsAny(o.Text, "\u2028\u2029"), !utf8.ValidString(o.Text):
			f.Add(at+"text", "holds a control character or line break", "one line of plain text")
		case origin.MatchString(o.Text):
			f.Add(at+"text", "asks where somebody comes from", "a question about the hair: nobody is asked for their origin")
		case seen[strings.ToLower(strings.TrimSpace(o.Text))]:
			f.Add(at+"text", "is asked twice", "each question once")
		}
		seen[strings.ToLower(strings.TrimSpace(o.Text))] = true
		if o.Level != Ask && o.Level != DoNotBook {
			f.Add(at+"outcome", "is not what a question can lead to", "ask or do_not_book")
		}
	}
	return f.Err()
}
