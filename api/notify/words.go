package notify

import (
	_ "embed"
	"fmt"
	"slices"
	"strings"

	"golang.org/x/text/feature/plural"
	bcp47 "golang.org/x/text/language"

	"chairblock/scheduling"
)

//go:embed messages/en.json
var englishFile []byte

var english = func() *Words {
	file, err := readFile(englishFile)
	if err != nil {
		panic("notify: the English language file: " + err.Error())
	}
	englishPages = file.Pages
	var faults scheduling.Faults
	w := file.words(&faults)
	if len(faults) > 0 {
		panic("notify: the English language file: " + faults.Error())
	}
	return w // its messages are tried out by tests
}()

// Words is one language file: every text of every message, and how dates,
// times and numbers are written. It is safe for use by several goroutines.
type Words struct {
	tag      string
	name     string
	language bcp47.Tag
	rtl      bool
	digits   []rune // ten, or none for 0 to 9
	weekdays []string
	months   []string
	forms    map[formName][]node
	counts   map[unit]map[plural.Form][]node
	needs    map[Need][]node // those that the file has
	services string          // whom to call in an emergency, "" where the file does not say
	client   framing
	staff    framing
	kinds    map[Kind]kindWords
	pages    map[string][]node // those that the file has
}

// framing is what stands before and after every message.
type framing struct{ head, foot []node }

// kindWords are the texts of one message.
type kindWords struct{ subject, body, short []node }

// Message is one message in words.
type Message struct {
	Subject string // one line of at most 200 characters
	// Text is plain, with LF line ends, wrapped at 72 characters where its
	// words allow it.
	Text string
	// HTML is the same as a page of its own, which fetches nothing.
	HTML string
}

// English returns the language that is always there.
func English() *Words { return english }

// EnglishFile returns the document of English, a model for other languages.
func EnglishFile() []byte { return slices.Clone(englishFile) }

// Tag is the language tag (BCP 47), such as "en".
func (w *Words) Tag() string { return w.tag }

// Name is what the language calls itself, such as "English".
func (w *Words) Name() string { return w.name }

// Missing names the texts that the file lacks, such as "held" and
// "retouch.short", in the order of Kinds, then those such as "needs.deposit".
// Compose and Short write them in English.
func (w *Words) Missing() []string {
	var missing []string
	for _, k := range Kinds() {
		switch t := w.kinds[k]; {
		case t.body == nil:
			missing = append(missing, string(k))
		case t.short == nil:
			missing = append(missing, string(k)+".short")
		}
	}
	for _, n := range Needs() {
		if w.needs[n] == nil {
			missing = append(missing, "needs."+string(n))
		}
	}
	if w.services == "" {
		missing = append(missing, "emergency_services")
	}
	return missing
}

// speaking returns the language in which message k about f is written: this one, or
// English where this one lacks it, or whom to call without a number.
func (w *Words) speaking(k Kind, short bool, f Facts) *Words {
	if w == nil {
		return english
	}
	if _, named := kindNames[k]["emergency"]; named && w.services == "" && clean(f.Emergency) == "" {
		return english
	}
	if t := w.kinds[k]; t.body == nil || short && t.short == nil {
		return english
	}
	return w
}

// framing is what stands round message k.
func (w *Words) framing(k Kind) framing {
	if k.ForStaff() {
		return w.staff
	}
	return w.client
}

// String names the language, never its texts.
func (w *Words) String() string { return fmt.Sprintf("language %s", strings.ToValidUTF8(w.tag, "")) }
