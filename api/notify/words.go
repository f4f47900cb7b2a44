package notify

import (
	_ "embed"
	"encoding/json"

	"chairblock/scheduling"
)

//go:embed messages/en.json
var englishFile []byte

var english = func() *Words {
	w, err := ParseWords(englishFile)
	if err != nil {
		panic("notify: the English language file: " + err.Error())
	}
	return w
}()

// Words is one language file: every text of every message, and how dates,
// times and numbers are written. It is safe for use by several goroutines.
type Words struct {
	tag string
}

// Message is one message in words.
type Message struct {
	Subject string // one line
	Text    string // plain, LF line ends, wrapped
	HTML    string // the same as a page of its own
}

// English returns the language that is always there.
func English() *Words { return english }

// EnglishFile returns the document of English, a model for other languages.
func EnglishFile() []byte { return append([]byte(nil), englishFile...) }

// ParseWords reads a language file. It returns scheduling.Faults that name
// every faulty text.
func ParseWords(doc []byte) (*Words, error) {
	var d struct {
		Tag string `json:"tag"`
	}
	if err := json.Unmarshal(doc, &d); err != nil || d.Tag == "" {
		return nil, scheduling.Faults{{Field: "tag", Problem: "cannot be read", Want: "a JSON document with a language tag such as en"}}
	}
	return &Words{tag: d.Tag}, nil
}

// Tag is the language tag (BCP 47), such as "en".
func (w *Words) Tag() string { return w.tag }

// Missing names the texts that the file lacks and that are English instead.
func (w *Words) Missing() []string { return nil }

// Short writes message k about f as one text message of at most 459
// characters.
func (w *Words) Short(k Kind, f Facts) (string, error) {
	m, err := Compose(w, k, f)
	return m.Subject, err
}
