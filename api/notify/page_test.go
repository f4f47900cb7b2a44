package notify

import (
	"html"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

var tagOf = regexp.MustCompile(`<(/?)([a-zA-Z0-9!]+)([^>]*)>`)

// skeleton is every tag of a page with its links, without those that only set
// a direction of writing apart.
func skeleton(page string) []string {
	var out []string
	for _, m := range tagOf.FindAllStringSubmatch(page, -1) {
		if m[2] != "bdi" {
			out = append(out, m[0])
		}
	}
	return out
}

// requireSafePage checks that a page fetches nothing, runs nothing, and closes
// what it opens.
func requireSafePage(t *testing.T, page string) {
	t.Helper()
	allowed := strings.Fields("!DOCTYPE html head meta title style body main footer h2 p ul li br a bdi")
	var open []string
	for _, m := range tagOf.FindAllStringSubmatch(page, -1) {
		require.Contains(t, allowed, m[2])
		require.NotRegexp(t, `(?i)\b(src|on\w+|style|background|srcset|http-equiv)=`, m[3])
		switch {
		case m[2] == "!DOCTYPE", m[2] == "meta", m[2] == "br":
		case m[1] == "":
			open = append(open, m[2])
		default:
			require.NotEmpty(t, open)
			require.Equal(t, open[len(open)-1], m[2], "closed in another order than opened")
			open = open[:len(open)-1]
		}
	}
	require.Empty(t, open)
	for _, m := range regexp.MustCompile(`href="([^"]*)"`).FindAllStringSubmatch(page, -1) {
		require.Regexp(t, `^(https?://|tel:[+]?[0-9]+$|mailto:[a-z]+@)`, html.UnescapeString(m[1]))
	}
	require.NotRegexp(t, `(?i)url\(|@import|javascript:|ZgotmplZ`, page)
	require.Regexp(t, `<html lang="[a-zA-Z-]+" dir="(ltr|rtl)">`, page)
}

func TestAPageEscapesWhatFactsHold(t *testing.T) {
	f := with(straightening(t), func(f *Facts) {
		f.SalonName, f.Stylist, f.Services = `<b>"A" & 'B'</b>`, "</p><script>x</script>", []string{"a<br>b"}
		f.Link = `https://salon.example/v?a=1&b='"`[:30]
	})
	m, err := Compose(English(), Confirmation, f)
	require.NoError(t, err)
	requireSafePage(t, m.HTML)
	require.Contains(t, m.HTML, "&lt;/p&gt;&lt;script&gt;x&lt;/script&gt;")
	require.Contains(t, m.Text, "</p><script>x</script>", "plain text is not escaped")
	require.Contains(t, m.HTML, `href="https://salon.example/v?a=1&amp;b=`)
}

// What a line is follows from the language file, also where it begins with a
// name.
func TestAFactThatLooksLikeMarkupIsOnlyWords(t *testing.T) {
	for _, initials := range []string{"# M. K.", "- M. K.", "| M. K.", "! M. K.", "[M](K)"} {
		m, err := Compose(English(), DidNotCome, with(ordinary(t)["did_not_come"].facts, func(f *Facts) { f.ClientInitials = initials }))
		require.NoError(t, err)
		require.Contains(t, m.HTML, "<p>"+initials+" did not come")
		require.Contains(t, m.Text, initials+" did not come")
	}
}

func TestNumbersAndAddressesCanBePressed(t *testing.T) {
	for phone, want := range map[string]string{
		"+44 20 7946 0018":   `<a href="tel:+442079460018">+44 20 7946 0018</a>`,
		"(212) 555-0137":     `<a href="tel:2125550137">(212) 555-0137</a>`,
		"desk@salon.example": `<a href="mailto:desk@salon.example">desk@salon.example</a>`,
		"020 7946 ext. 12":   "020 7946 ext. 12",
		"0044+2":             "0044+2",
		"a&b@salon.example":  "a&amp;b@salon.example",
	} {
		m, err := Compose(English(), Cancelled, with(straightening(t), func(f *Facts) { f.SalonPhone = phone }))
		require.NoError(t, err)
		require.Contains(t, strings.ReplaceAll(m.HTML, "&#43;", "+"), want)
		if strings.Contains(phone, "@salon") && !strings.Contains(phone, "&") {
			require.Contains(t, m.Text, "write to "+phone)
		}
	}
}

func TestATextIsWrappedButNoLinkIsBroken(t *testing.T) {
	long := "https://salon.example/" + strings.Repeat("x", 200)
	f := with(straightening(t), func(f *Facts) { f.Link = long })
	m, err := Compose(English(), Aftercare, f)
	require.NoError(t, err)
	lines := strings.Split(m.Text, "\n")
	require.Contains(t, lines, long, "the link has a line of its own")
	for _, l := range lines {
		require.True(t, l == long || columns(l) <= maxWidth, l)
	}
	m, err = Compose(English(), Aftercare, with(f, func(f *Facts) { f.SalonName = strings.Repeat("Ä", 150) }))
	require.NoError(t, err)
	require.Contains(t, m.Text, strings.Repeat("Ä", 150), "a word that is longer than a line stays whole")
}

// A message to staff knows a client by initials only, and a message to a
// client knows no secret link of anybody else, whatever the facts hold.
func TestAMessageKnowsOnlyWhatIsForItsReader(t *testing.T) {
	f := with(straightening(t), func(f *Facts) {
		f.ClientFirstName, f.GuardianFirstName, f.ClientInitials, f.StaffFirstName = "Clientname", "Guardianname", "C. N.", "Ines"
		f.Link, f.AnswerLink, f.BookLink, f.StopLink, f.DayLink = "https://x.example/visit", "https://x.example/answer", "https://x.example/book", "https://x.example/stop", "https://x.example/day"
		f.Helper, f.LateMinutes, f.CheckAt, f.CheckBy = "Ben", 10, f.Start, f.End
		f.Changes = []Change{{What: ChangeCancelled, Initials: "C. N.", Start: f.Start}}
		f.HeldUntil, f.Before = f.Start, f.End
	})
	for k := range kindNames {
		for _, s := range []string{"Clientname", "Guardianname", "/visit", "/answer", "/book", "/stop", "/day", "C. N."} {
			said := false
			for _, x := range English().values(k, f) {
				said = said || strings.Contains(x.text, s)
			}
			toStaff := s == "/day" || s == "C. N."
			if k.ForStaff() {
				require.False(t, said && !toStaff, "%s to staff holds %s", k, s)
			} else {
				require.False(t, said && toStaff, "%s to a client holds %s", k, s)
			}
		}
	}
}

// Languages that are written from right to left get their page the other way
// round, and what comes from outside is set apart in both forms.
func TestWritingFromRightToLeftKeepsNumbersApart(t *testing.T) {
	w := language(t, "he")
	f := ordinary(t)["reminder"].facts
	m, err := Compose(w, Reminder, f)
	require.NoError(t, err)
	require.Contains(t, m.HTML, `<html lang="he" dir="rtl">`)
	require.Contains(t, strings.ReplaceAll(m.HTML, "&#43;", "+"), `<a href="tel:+442079460018"><bdi>+44 20 7946 0018</bdi></a>`)
	require.Contains(t, m.Text, "\u2068+44 20 7946 0018\u2069")
	require.Contains(t, strings.Split(m.Text, "\n"), f.AnswerLink, "nothing but the link, so that it can be copied")
	requireSafePage(t, m.HTML)
	golden(t, "he-reminder.txt", "Subject: "+m.Subject+"\n\n"+m.Text)
	golden(t, "he-reminder.html", m.HTML)

	m, err = Compose(English(), Cancelled, with(f, func(f *Facts) { f.ClientFirstName = "מרה" }))
	require.NoError(t, err)
	require.Contains(t, m.Text, "Hello \u2068מרה\u2069,")
	require.Contains(t, m.HTML, "Hello <bdi>מרה</bdi>,")
	require.NotContains(t, m.HTML, "<bdi>+44")
}

func TestNearDaysAreNamedAndFarOnesDated(t *testing.T) {
	for sent, want := range map[string]string{
		"2026-06-12 00:00 +01:00": "Today at 09:00: your visit, Corner Salon",
		"2026-06-11 23:59 +01:00": "Tomorrow at 09:00: your visit, Corner Salon",
		"2026-06-10 23:59 +01:00": "Friday 12 June, 09:00: your visit, Corner Salon",
		"2026-06-13 00:00 +01:00": "Friday 12 June, 09:00: your visit, Corner Salon",
		"2025-12-12 08:00 +00:00": "Friday 12 June, 09:00: your visit, Corner Salon",
		"2025-12-10 08:00 +00:00": "Friday 12 June 2026, 09:00: your visit, Corner Salon",
		"":                        "Friday 12 June, 09:00: your visit, Corner Salon",
	} {
		m, err := Compose(English(), Reminder, with(straightening(t), func(f *Facts) {
			if f.Sent = (time.Time{}); sent != "" {
				f.Sent = at(t, sent)
			}
		}))
		require.NoError(t, err)
		require.Equal(t, want, m.Subject, sent)
	}
}

func TestKindsAreListedOnce(t *testing.T) {
	require.Len(t, Kinds(), len(kindNames))
	for _, k := range Kinds() {
		require.Contains(t, kindNames, k)
		require.NotEmpty(t, mustSay[k])
		require.Equal(t, slices.Index(Kinds(), k) >= slices.Index(Kinds(), DayChanged), k.ForStaff())
	}
}
