package notify

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

// language reads a language file that is not shipped.
func language(t testing.TB, tag string) *Words {
	t.Helper()
	doc, err := os.ReadFile(filepath.Join("testdata", "languages", tag+".json"))
	require.NoError(t, err)
	w, err := ParseWords(doc)
	require.NoError(t, err)
	return w
}

func TestEnglishPassesEveryTrialAndLacksNothing(t *testing.T) {
	w, err := ParseWords(EnglishFile())
	require.NoError(t, err)
	require.Empty(t, w.Missing())
	require.Equal(t, "en", w.Tag())
	require.Equal(t, "English", w.Name())
	doc := EnglishFile()
	doc[0] = 'x'
	require.NotEqual(t, doc[0], EnglishFile()[0], "nobody can change the file")
}

func TestAnotherLanguageNeedsOnlyAFile(t *testing.T) {
	w := language(t, "de")
	require.Empty(t, w.Missing())
	for name, o := range ordinary(t) {
		t.Run(name, func(t *testing.T) {
			m, err := Compose(w, o.kind, o.facts)
			require.NoError(t, err)
			requireTidy(t, m)
			short, err := w.Short(o.kind, o.facts)
			require.NoError(t, err)
			require.LessOrEqual(t, Parts(short), 3)
			golden(t, "de-"+name+".txt", fmt.Sprintf("Subject: %s\n\n%s\nCharacters: %d\nParts: %d\n\n%s\n", m.Subject, m.Text, characters(short), Parts(short), short))
			require.Contains(t, m.HTML, `<html lang="de" dir="ltr">`)
			for _, english := range []string{" the ", " your ", " until ", "June", "Friday"} {
				require.NotContains(t, m.Subject+m.Text, english)
			}
		})
	}
}

func TestWhatALanguageLacksIsEnglishThroughout(t *testing.T) {
	w := language(t, "he")
	missing := w.Missing()
	require.Len(t, missing, len(Kinds())+len(Needs())+1, "with whom to call in an emergency")
	require.Contains(t, missing, "needs.deposit")
	require.Contains(t, missing, "reminder.short")
	require.NotContains(t, missing, "reminder")
	f := ordinary(t)["aftercare"].facts
	m, err := Compose(w, Aftercare, f)
	require.NoError(t, err)
	want, err := Compose(English(), Aftercare, f)
	require.NoError(t, err)
	require.Equal(t, want, m, "no English sentence with foreign dates")
	short, err := w.Short(Reminder, ordinary(t)["reminder"].facts)
	require.NoError(t, err)
	require.Contains(t, short, "Coming? Say yes")
	m, err = Compose(nil, Aftercare, f)
	require.NoError(t, err)
	require.Equal(t, want, m)
}

// The rules of number are Unicode's, from the library's tables.
func TestNumbersFollowTheRulesOfTheLanguage(t *testing.T) {
	polish := changed(t, func(d map[string]any) {
		d["tag"] = "pl"
		for _, u := range units {
			d["counts"].(map[string]any)[string(u)] = map[string]any{"one": "{n} A", "few": "{n} B", "many": "{n} C", "other": "{n} D"}
		}
	})
	w, err := ParseWords(polish)
	require.NoError(t, err)
	for n, want := range map[int]string{1: "1 A", 2: "2 B", 5: "5 C", 12: "12 C", 22: "22 B", 25: "25 C"} {
		require.Equal(t, want, w.counted(hourUnit, n))
	}
	he := language(t, "he")
	require.Equal(t, "שעתיים", he.counted(hourUnit, 2))

	w, err = ParseWords(changed(t, func(d map[string]any) { d["digits"] = "٠١٢٣٤٥٦٧٨٩" }))
	require.NoError(t, err)
	m, err := Compose(w, Reminder, straightening(t))
	require.NoError(t, err)
	require.Contains(t, m.Text, "Friday ١٢ June ٢٠٢٦, ٠٩:٠٠ to about ١٣:٣٠")
	require.Contains(t, m.Text, "+44 20 7946 0018", "a number to dial stays as it is")
}

func TestWhatIsStillNeededIsSaidInTheWordsOfTheLanguage(t *testing.T) {
	f := with(straightening(t), func(f *Facts) {
		for _, n := range Needs() {
			f.StillNeeded = append(f.StillNeeded, Needed{Kind: n, By: f.Start})
		}
		f.StillNeeded = append(f.StillNeeded, Needed{What: "a photograph", By: f.Start})
	})
	said := func(w *Words) string {
		m, err := Compose(w, Reminder, f)
		require.NoError(t, err)
		require.Contains(t, m.Text, "a photograph")
		return m.Text
	}
	inEnglish := []string{"a consultation", "a skin test", "a look at the skin test", "a strand test", "the deposit", "the guardian's yes", "consent"}
	w, err := ParseWords(changed(t, func(d map[string]any) { delete(d, "needs") }))
	require.NoError(t, err)
	require.Equal(t, said(English()), said(w), "a file without needs")
	for _, s := range inEnglish {
		require.Contains(t, said(w), "- "+s+", by ")
	}
	w, err = ParseWords(changed(t, func(d map[string]any) {
		d["needs"] = map[string]any{"deposit": "die Anzahlung"}
	}))
	require.NoError(t, err)
	require.Contains(t, said(w), "- die Anzahlung, by ")
	require.NotContains(t, said(w), "the deposit")
	require.Contains(t, said(w), "- a skin test, by ")
	require.NotContains(t, w.Missing(), "needs.deposit")
}

// changed returns the English file with something else in it.
func changed(t testing.TB, change func(map[string]any)) []byte {
	t.Helper()
	var d map[string]any
	require.NoError(t, json.Unmarshal(EnglishFile(), &d))
	change(d)
	doc, err := json.Marshal(d)
	require.NoError(t, err)
	return doc
}

// text replaces one text of a message.
func text(kind, field string, to any) func(map[string]any) {
	return func(d map[string]any) {
		d["messages"].(map[string]any)[kind].(map[string]any)[field] = to
	}
}

func in(field, key string, to any) func(map[string]any) {
	return func(d map[string]any) { d[field].(map[string]any)[key] = to }
}

func TestALanguageFileSaysWhichTextIsWrong(t *testing.T) {
	for _, tt := range []struct {
		name   string
		change func(map[string]any)
		field  string
		says   string
	}{
		{"no tag", func(d map[string]any) { d["tag"] = "" }, "tag", `is ""`},
		{"a tag that is none", func(d map[string]any) { d["tag"] = "klartext!" }, "tag", "is"},
		{"no name", func(d map[string]any) { d["name"] = "\u200b" }, "name", "empty"},
		{"a direction that is none", func(d map[string]any) { d["direction"] = "up" }, "direction", `"up"`},
		{"six weekdays", func(d map[string]any) { d["weekdays"] = []string{"a", "b", "c", "d", "e", "f"} }, "weekdays", "has 6"},
		{"a month without name", func(d map[string]any) { d["months"].([]any)[3] = " " }, "months[3]", "no name"},
		{"nine digits", func(d map[string]any) { d["digits"] = "123456789" }, "digits", "has 9"},
		{"a form that is missing", func(d map[string]any) { delete(d["forms"].(map[string]any), "noon") }, "forms.noon", "empty"},
		{"a day without month", in("forms", "day", "{weekday} {day}"), "forms.day", "{month}"},
		{"a clock without minutes", in("forms", "clock_24", "{hour}"), "forms.clock_24", "{minute}"},
		{"an unknown form", in("forms", "weeks", "{n}"), "forms", `"weeks"`},
		{"a form that knows too much", in("forms", "day", "{weekday} {day} {month} {name}"), "forms.day", "{name}"},
		{"hours without other", in("counts", "hours", map[string]any{"one": "{n} hour"}), "counts.hours", "other"},
		{"hours without one", in("counts", "hours", map[string]any{"other": "{n} hours"}), "counts.hours", "form for 1"},
		{"an unknown unit", in("counts", "weeks", map[string]any{"other": "{n}"}), "counts", `"weeks"`},
		{"an unknown need", in("needs", "luck", "luck"), "needs", `"luck"`},
		{"a need without words", in("needs", "deposit", " "), "needs.deposit", "empty"},
		{"a need that speaks of the visit", in("needs", "deposit", "the deposit, {name}"), "needs.deposit", "{name}"},
		{"a text message that nobody can stop", text("retouch", "short", "{salon}: {from}"), "messages.retouch.short", "how to stop"},
		{"a text message that has only a link for a yes that is not always asked", text("reminder", "short", "{start} {answer_link}"), "messages.reminder.short", "how to stop"},
		{"an unknown message", in("messages", "birthday", map[string]any{"subject": "x", "body": "y"}), "messages", `"birthday"`},
		{"a message without a body", text("held", "body", []string{" ", ""}), "messages.held", "lacks"},
		{"an unknown name", text("held", "subject", "{start} {salon} {allergies}"), "messages.held.subject", "{allergies}"},
		{"an unknown name in a line", text("held", "body", []string{"ok", "oh {if no}x{end}"}), "messages.held.body[1]", "{no}"},
		{"a name of another message", text("cancelled", "subject", "{start} {emergency}"), "messages.cancelled.subject", "{emergency}"},
		{"a client's link to staff", text("check_due", "short", "{initials} {check_by} {stop_link}"), "messages.check_due.short", "{stop_link}"},
		{"a part that knows more than the message", text("cancelled", "body", []string{"{start}", "{part needed}"}), "messages.cancelled.body[1] with parts.needed[0]", "{needed}"},
		{"a part that is missing", text("cancelled", "subject", "{start} {part joke}"), "messages.cancelled.subject", "joke"},
		{"a part in itself", in("parts", "yes", "{part yes}"), "parts.yes", "in a part"},
		{"a part of lines in a part", in("parts", "needed", []string{"{part prepare}"}), "parts.needed[0]", "in a part"},
		{"more tags than a text has", in("parts", "yes", strings.Repeat("{salon}", 300)), "messages.cancelled.subject with parts.yes", "2000"},
		{"a part that speaks of nothing", in("parts", "yes", "{nothing}"), "parts.yes", "{nothing}"},
		{"a tag that is none", text("cancelled", "subject", "{start} {.Start}"), "messages.cancelled.subject", "{.Start}"},
		{"a call", text("cancelled", "subject", `{start} {printf "%d"}`), "messages.cancelled.subject", "unreadable"},
		{"an open brace", text("cancelled", "subject", "{start} {salon"), "messages.cancelled.subject", "single brace"},
		{"a closing brace", text("cancelled", "subject", "{start} }"), "messages.cancelled.subject", "single brace"},
		{"an if without end", text("cancelled", "subject", "{start}{if link}"), "messages.cancelled.subject", "without {end}"},
		{"an end without if", text("cancelled", "subject", "{start}{end}"), "messages.cancelled.subject", "{end} without"},
		{"an else without if", text("cancelled", "subject", "{start}{else}"), "messages.cancelled.subject", "{else} without"},
		{"an else in a list", text("confirmation", "short", "{start}{each needed}{else}{end}"), "messages.confirmation.short", "{else} without"},
		{"a list in a list", text("confirmation", "short", "{start}{each needed}{each needed}x{end}{end}"), "messages.confirmation.short", "{needed}"},
		{"a list that is none", text("confirmation", "short", "{start}{each services}x{end}"), "messages.confirmation.short", "no list"},
		{"a flag shown", text("confirmation", "short", "{start}{straightening}"), "messages.confirmation.short", "no text"},
		{"nine ifs deep", text("confirmation", "short", "{start}"+strings.Repeat("{if link}", 9)+strings.Repeat("{end}", 9)), "messages.confirmation.short", "nested"},
		{"a text without end", text("confirmation", "short", strings.Repeat("x", 9000)), "messages.confirmation.short", "9000 octets"},
		{"a line break", text("confirmation", "subject", "{start}\nBcc: x"), "messages.confirmation.subject", "U+000A"},
		{"a carriage return in a line", text("confirmation", "body", []string{"{start}", "a\rb"}), "messages.confirmation.body[1]", "U+000D"},
		{"a mark that turns writing", text("confirmation", "short", "{start}\u202e"), "messages.confirmation.short", "U+202E"},
		{"a control character in a weekday", func(d map[string]any) { d["weekdays"].([]any)[0] = "Mon\x1bday" }, "weekdays[0]", "no name"},
		{"a label that leads nowhere", text("cancelled", "body", []string{"{start}", "[book]({book_link})"}), "messages.cancelled.body", "leads nowhere"},
		{"a link to elsewhere", text("cancelled", "body", []string{"{start}", "[book](https://bad.example)"}), "messages.cancelled.body", "leads nowhere"},
		{"a message that says no time", text("cancelled", "body", []string{"Off."}), "messages.cancelled.body", "{start}"},
		{"a time that is said only sometimes", text("cancelled", "short", "{if book_link}{start}{end}{part sms_stop} off"), "messages.cancelled.short", "{start}"},
		{"aftercare without the emergency number", text("aftercare", "short", "{dry} {phone}"), "messages.aftercare.short", "{emergency}"},
		{"a reminder that does not ask", text("reminder", "body", []string{"{start}"}), "messages.reminder.body", "{answer_link}"},
		{"no way to stop", in("client", "foot", []string{"{salon}"}), "messages.held.body", "stop"},
		{"a subject that may be empty", text("cancelled", "subject", "{if book_link}{start}{end}"), "messages.cancelled.subject", "empty"},
		{"a subject that is too long", text("cancelled", "subject", "{start} "+strings.Repeat("long ", 60)), "messages.cancelled.subject", "200"},
		{"a text message that is too long", text("cancelled", "short", "{start} "+strings.Repeat("long ", 100)), "messages.cancelled.short", "459"},
		{"an unknown field", func(d map[string]any) { d["texts"] = 1 }, "", "texts"},
		{"a number for a text", text("held", "subject", 7), "", "number"},
		{"a list of numbers for a text", text("held", "body", []int{7}), "", "neither a string"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			doc := changed(t, func(d map[string]any) {
				if strings.HasPrefix(tt.says, "2000") {
					text("cancelled", "subject", strings.Repeat("{part yes}", 9))(d)
				}
				tt.change(d)
			})
			_, err := ParseWords(doc)
			var faults scheduling.Faults
			require.ErrorAs(t, err, &faults)
			var fields []string
			for _, f := range faults {
				fields = append(fields, f.Field)
				require.NotEmpty(t, f.Want)
			}
			require.Contains(t, fields, tt.field, err.Error())
			require.Contains(t, err.Error(), tt.says)
			require.LessOrEqual(t, len(faults), 20, "one mistake, one fault: %v", err)
		})
	}
}

func TestAFileThatIsNoLanguageSaysWhere(t *testing.T) {
	for name, tt := range map[string]struct {
		doc  string
		says string
	}{
		"nothing":             {"", "line 1"},
		"half a file":         {"{\n\"tag\": \"en\",\n", "line 3"},
		"a comma too many":    {"{\n\"tag\": \"en\",,\n}", "line 2"},
		"something after it":  {"{} {}", "goes on"},
		"bytes that are none": {"{\"tag\": \"\xff\"}", "UTF-8"},
		"a file without end":  {strings.Repeat(" ", maxFile+1), "262145"},
		"an empty document":   {"{}", "tag"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := ParseWords([]byte(tt.doc))
			var faults scheduling.Faults
			require.ErrorAs(t, err, &faults)
			require.Contains(t, err.Error(), tt.says)
		})
	}
}

// An owner's file cannot fill the memory: every list multiplies at most once,
// and the message ends at 64 kilobytes.
func TestALanguageFileCannotGrowWithoutBound(t *testing.T) {
	long := strings.Repeat("x", 7000)
	doc := changed(t, func(d map[string]any) {
		d["parts"].(map[string]any)["long"] = long
		text("confirmation", "body", []string{"{start}", strings.Repeat("{part long}", 600)})(d)
	})
	_, err := ParseWords(doc)
	require.ErrorContains(t, err, "64 kilobytes")
	doc = changed(t, text("confirmation", "body", []string{"{start}", "{each needed}" + strings.Repeat("{by}", 1000) + "{end}"}))
	w, err := ParseWords(doc)
	require.NoError(t, err, "two entries of the trial are still bearable")
	f := straightening(t)
	for range 20 {
		f.StillNeeded = append(f.StillNeeded, Needed{What: "x", By: f.Start})
	}
	_, err = Compose(w, Confirmation, f)
	require.Error(t, err, "twenty are not")
}

func TestTextAndPageAreBothBounded(t *testing.T) {
	x := []node{{op: opEach, text: "needed", yes: []node{{op: opText, text: strings.Repeat("x", 8000)}}}}
	_, err := layout(values{"needed": {entries: make([]values, 20)}}, x)
	require.ErrorContains(t, err, "64 kilobytes")
	_, err = oneLine(values{"needed": {entries: make([]values, 8)}}, x)
	require.NoError(t, err)
	deep := []node{{op: opText}}
	for range 4 { // as no file can be written
		deep = []node{{op: opEach, text: "needed", yes: slices.Repeat(deep, 20)}}
	}
	_, err = oneLine(values{"needed": {entries: make([]values, 20)}}, deep)
	require.ErrorContains(t, err, "too much work")

	quotes := changed(t, func(d map[string]any) {
		in("parts", "quotes", strings.Repeat(`"`, 7000))(d)
		text("cancelled", "body", []string{"{start} {part quotes} {part quotes} {part quotes}"})(d)
	})
	_, err = ParseWords(quotes)
	require.ErrorContains(t, err, "64 kilobytes", "each sign becomes five on a page")
}

// Whatever an owner writes is either refused with its place or makes a page
// that is whole and safe.
func FuzzATextIsRefusedOrSafe(f *testing.F) {
	for _, s := range []string{
		"{start} {if link}{link}{end}", "{each needed}{what}{end}", "{{}}", "[{start}]({link})", "# {start}\n- {part place} | {else}",
		"{if link}\n[x {stylist} y]({link})\n{end}", "<b>{salon}</b>", "{if needed}{each needed}\n- {what}\n{end}{else}\n\n! x{end}", "[](){link})",
	} {
		f.Add(s)
	}
	facts := with(straightening(f), func(x *Facts) { x.StillNeeded = []Needed{{What: "patch test", By: x.Start}} })
	v := English().values(Confirmation, facts)
	f.Fuzz(func(t *testing.T, body string) {
		var faults scheduling.Faults
		nodes := parse(&faults, "body", lines{text: strings.Split(body, "\n"), many: true}, kindNames[Confirmation], nil)
		for _, x := range faults {
			require.Contains(t, x.Field, "body")
			require.NotEmpty(t, x.Want)
		}
		if len(faults) > 0 {
			return
		}
		blocks, err := layout(v, nodes)
		if err != nil {
			var fault *scheduling.InvalidError
			require.ErrorAs(t, err, &fault)
			return
		}
		page, err := English().page("x", blocks, nil)
		require.NoError(t, err)
		requireSafePage(t, page)
		require.NotContains(t, English().plain(blocks), "\n\n\n")
	})
}
