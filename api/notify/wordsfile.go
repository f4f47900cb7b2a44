package notify

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/feature/plural"
	bcp47 "golang.org/x/text/language"

	"chairblock/scheduling"
)

// maxFile is how large a language file may be, in octets: the English one has
// some 20 kilobytes (judgement).
const maxFile = 256 << 10

// wordsFile is a language file as it is written.
type wordsFile struct {
	Tag       string                       `json:"tag"`
	Name      string                       `json:"name"`
	Direction string                       `json:"direction"`
	Digits    string                       `json:"digits"`
	Weekdays  []string                     `json:"weekdays"`
	Months    []string                     `json:"months"`
	Forms     map[string]string            `json:"forms"`
	Counts    map[string]map[string]string `json:"counts"`
	Needs     map[string]string            `json:"needs"`
	// Services are whom to call where the salon has given no number.
	Services string                 `json:"emergency_services"`
	Parts    map[string]lines       `json:"parts"`
	Client   headFoot               `json:"client"`
	Staff    headFoot               `json:"staff"`
	Messages map[string]messageFile `json:"messages"`
	Pages    map[string]string      `json:"pages"`
}

type headFoot struct {
	Head lines `json:"head"`
	Foot lines `json:"foot"`
}

type messageFile struct {
	Subject string `json:"subject"`
	Body    lines  `json:"body"`
	Short   lines  `json:"short"`
}

// UnmarshalJSON reads a line or a list of lines.
func (l *lines) UnmarshalJSON(doc []byte) error {
	var one string
	if err := json.Unmarshal(doc, &one); err == nil {
		*l = lines{text: []string{one}}
		return nil
	}
	var many []string
	if err := json.Unmarshal(doc, &many); err != nil {
		return errors.New("a text is neither a string nor a list of strings")
	}
	*l = lines{text: many, many: true}
	return nil
}

// empty tells whether nothing is written there.
func (l lines) empty() bool {
	return !slices.ContainsFunc(l.text, func(s string) bool { return strings.TrimSpace(s) != "" })
}

// ParseWords reads a language file, a JSON document like EnglishFile, of at
// most 256 kilobytes. A message or a need that the file lacks is written in
// English, see Missing; all else has to be there. Every text is tried out with invented
// facts of every shape.
//
// ParseWords returns scheduling.Faults that name every faulty text by its
// path, such as "messages.held.body[3]".
func ParseWords(doc []byte) (*Words, error) {
	file, err := readFile(doc)
	if err != nil {
		return nil, scheduling.Faults{err}
	}
	var faults scheduling.Faults
	w := file.words(&faults)
	if len(faults) == 0 {
		w.try(&faults)
	}
	if err := faults.Err(); err != nil {
		return nil, err
	}
	return w, nil
}

func readFile(doc []byte) (*wordsFile, *scheduling.InvalidError) {
	if len(doc) > maxFile {
		return nil, &scheduling.InvalidError{Problem: fmt.Sprintf("has %d octets", len(doc)), Want: "at most 262144"}
	}
	if !utf8.Valid(doc) {
		return nil, &scheduling.InvalidError{Problem: "is not in UTF-8", Want: "a file in UTF-8"}
	}
	var file wordsFile
	d := json.NewDecoder(bytes.NewReader(doc))
	d.DisallowUnknownFields()
	if err := d.Decode(&file); err != nil {
		return nil, &scheduling.InvalidError{Problem: problemOf(doc, err, d.InputOffset()), Want: "a JSON document like the English one"}
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return nil, &scheduling.InvalidError{Problem: "goes on after its end", Want: "one JSON document"}
	}
	return &file, nil
}

// problemOf says what is wrong with a document, and in which line.
func problemOf(doc []byte, err error, offset int64) string {
	if e, ok := errors.AsType[*json.SyntaxError](err); ok {
		offset = e.Offset
	} else if errors.Is(err, io.ErrUnexpectedEOF) {
		offset = int64(len(doc))
	}
	if e, ok := errors.AsType[*json.UnmarshalTypeError](err); ok {
		return fmt.Sprintf("line %d: %.80s cannot be a %s", lineOf(doc, e.Offset), e.Field, e.Value)
	}
	return fmt.Sprintf("line %d: %.120s", lineOf(doc, offset), strings.TrimPrefix(err.Error(), "json: "))
}

func lineOf(doc []byte, offset int64) int {
	return 1 + bytes.Count(doc[:min(int(offset), len(doc))], []byte("\n"))
}

// words reads every text of the file.
func (f *wordsFile) words(faults *scheduling.Faults) *Words {
	w := &Words{name: clean(f.Name), weekdays: f.Weekdays, months: f.Months, kinds: map[Kind]kindWords{}}
	f.basics(w, faults)
	f.readForms(w, faults)
	f.readCounts(w, faults)
	f.readNeeds(w, faults)
	f.readServices(w, faults)
	f.readPages(w, faults)
	good := f.goodParts(faults)
	w.client = f.Client.read(faults, "client", good, false)
	w.staff = f.Staff.read(faults, "staff", good, true)
	for _, name := range slices.Sorted(maps.Keys(f.Messages)) {
		m, k := f.Messages[name], Kind(name)
		known, ok := kindNames[k]
		if !ok {
			faults.Addf("messages", "the names of the English messages", "has the unknown message %.40q", name)
			continue
		}
		at := "messages." + name
		if m.Body.empty() || strings.TrimSpace(m.Subject) == "" {
			faults.Add(at, "lacks its subject or its body", "both, or no such message at all")
			continue
		}
		t := kindWords{
			subject: parse(faults, at+".subject", lines{text: []string{m.Subject}}, known, good),
			body:    parse(faults, at+".body", m.Body, known, good),
		}
		if !m.Short.empty() {
			t.short = parse(faults, at+".short", m.Short, known, good)
		}
		w.kinds[k] = t
	}
	return w
}

// basics reads tag, direction, digits and the names of days and months.
func (f *wordsFile) basics(w *Words, faults *scheduling.Faults) {
	tag, err := bcp47.Parse(f.Tag)
	if err != nil || tag == bcp47.Und || len(f.Tag) > 35 {
		faults.Addf("tag", "a language tag such as en, de-AT or zh-Hant", "is %.40q", f.Tag)
	}
	w.language, w.tag = tag, tag.String()
	if w.name == "" {
		faults.Add("name", "is empty", "what the language calls itself")
	}
	switch f.Direction {
	case "ltr", "rtl":
		w.rtl = f.Direction == "rtl"
	default:
		faults.Addf("direction", "ltr or rtl", "is %.40q", f.Direction)
	}
	w.digits = []rune(f.Digits)
	if n := len(w.digits); n != 0 && n != 10 || unusual(f.Digits) != "" {
		faults.Addf("digits", "ten characters from nought to nine, or none", "has %d", n)
		w.digits = nil
	}
	checkNames(faults, "weekdays", w.weekdays, 7, "from Monday on")
	checkNames(faults, "months", w.months, 12, "from January on")
}

// readServices reads whom to call in an emergency, which a file may lack.
func (f *wordsFile) readServices(w *Words, faults *scheduling.Faults) {
	if unusual(f.Services) != "" || len(f.Services) > 100 {
		faults.Add("emergency_services", "is no name", "a name of at most 100 octets, such as the emergency services")
		return
	}
	w.services = clean(f.Services)
}

// checkNames wants n short names.
func checkNames(faults *scheduling.Faults, field string, all []string, n int, order string) {
	if len(all) != n {
		faults.Addf(field, fmt.Sprintf("%d names %s", n, order), "has %d", len(all))
	}
	for i, s := range all {
		if strings.TrimSpace(s) == "" || unusual(s) != "" || len(s) > 100 {
			faults.Add(fmt.Sprintf("%s[%d]", field, i), "is no name", "a name of at most 100 octets")
		}
	}
}

func (f *wordsFile) readForms(w *Words, faults *scheduling.Faults) {
	w.forms = map[formName][]node{}
	for _, name := range slices.Sorted(maps.Keys(f.Forms)) {
		if _, ok := formNames[formName(name)]; !ok {
			faults.Addf("forms", "the names of the English forms", "has the unknown form %.40q", name)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(formNames)) {
		at, known := "forms."+string(name), formNames[name]
		text := f.Forms[string(name)]
		if len(text) > 400 || strings.TrimSpace(text) == "" {
			faults.Add(at, "is empty or too long", "1 to 400 octets")
			continue
		}
		w.forms[name] = parse(faults, at, lines{text: []string{text}}, known, nil)
		for _, n := range slices.Sorted(maps.Keys(known)) {
			either := name == formClock24 && strings.HasPrefix(n, "hour") && strings.Contains(text, "{hour")
			if !either && !strings.Contains(text, "{"+n+"}") {
				faults.Add(at, "does not show {"+n+"}", "every one of "+known.String())
			}
		}
	}
}

func (f *wordsFile) readCounts(w *Words, faults *scheduling.Faults) {
	w.counts = map[unit]map[plural.Form][]node{}
	for _, u := range units {
		at := "counts." + string(u)
		w.counts[u] = map[plural.Form][]node{}
		for _, name := range slices.Sorted(maps.Keys(f.Counts[string(u)])) {
			text := f.Counts[string(u)][name]
			form, ok := pluralForms[name]
			if !ok || len(text) > 200 || strings.TrimSpace(text) == "" {
				faults.Add(at+"."+name, "is not usable", "1 to 200 octets under zero, one, two, few, many or other")
				continue
			}
			w.counts[u][form] = parse(faults, at+"."+name, lines{text: []string{text}}, names{"n": textName}, nil)
		}
		if len(w.counts[u][plural.Other]) == 0 {
			faults.Add(at, "lacks other", "at least the words for many, under other")
		}
	}
	for _, name := range slices.Sorted(maps.Keys(f.Counts)) {
		if !slices.Contains(units, unit(name)) {
			faults.Addf("counts", "hours, minutes, centimetres and inches", "has the unknown unit %.40q", name)
		}
	}
}

// readNeeds reads what a visit may lack.
func (f *wordsFile) readNeeds(w *Words, faults *scheduling.Faults) {
	w.needs = map[Need][]node{}
	for _, name := range slices.Sorted(maps.Keys(f.Needs)) {
		at, text := "needs."+name, f.Needs[name]
		switch {
		case !slices.Contains(Needs(), Need(name)):
			faults.Addf("needs", "the names of the English needs", "has the unknown need %.40q", name)
		case len(text) > 200 || strings.TrimSpace(text) == "":
			faults.Add(at, "is empty or too long", "1 to 200 octets, or no such need at all")
		default:
			w.needs[Need(name)] = parse(faults, at, lines{text: []string{text}}, names{}, nil)
		}
	}
}

// goodParts tries every part by itself, so that a fault in it is named once
// and not for every message that it is part of.
func (f *wordsFile) goodParts(faults *scheduling.Faults) map[string]lines {
	all := names{}
	for _, n := range kindNames {
		all = all.and(n)
	}
	good := map[string]lines{}
	for _, name := range slices.Sorted(maps.Keys(f.Parts)) {
		if !tagName.MatchString(name) {
			faults.Addf("parts", "names in small letters, digits and _", "has a part named %.40q", name)
			continue
		}
		p := &parser{faults: faults, field: "parts." + name, many: f.Parts[name].many, known: all, parts: f.Parts, partOf: name, left: new(maxTags)}
		p.read(f.Parts[name])
		good[name] = lines{f.Parts[name].text, f.Parts[name].many, p.bad}
	}
	return good
}

// read reads what stands round the messages to clients or to staff. It may
// speak of what all of them know.
func (h headFoot) read(faults *scheduling.Faults, at string, parts map[string]lines, staff bool) framing {
	known := clientNames
	if staff {
		known = staffNames
	}
	return framing{
		head: parse(faults, at+".head", h.Head, known, parts),
		foot: parse(faults, at+".foot", h.Foot, known, parts),
	}
}
