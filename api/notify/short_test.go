package notify

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

// The lengths are those of 3GPP TS 23.038 and 23.040, from memory.
func TestPartsCountWhatIsCharged(t *testing.T) {
	for _, tt := range []struct {
		name string
		text string
		want int
	}{
		{"nothing", "", 0},
		{"a letter", "a", 1},
		{"a full part", strings.Repeat("a", 160), 1},
		{"one letter more", strings.Repeat("a", 161), 2},
		{"three full parts", strings.Repeat("a", 459), 3},
		{"one letter more than three", strings.Repeat("a", 460), 4},
		{"umlauts and accents of the alphabet", strings.Repeat("ä", 159) + "é", 1},
		{"signs that take the room of two", strings.Repeat("€", 80), 1},
		{"one of them more", strings.Repeat("€", 81), 2},
		{"another script", strings.Repeat("ж", 70), 1},
		{"another script in two", strings.Repeat("ж", 71), 2},
		{"one foreign letter makes all of them long", strings.Repeat("a", 70) + "ł", 2},
		{"signs outside the first plane take two", strings.Repeat("😀", 35), 1},
		{"and one of them more", strings.Repeat("😀", 36), 2},
	} {
		t.Run(tt.name, func(t *testing.T) { require.Equal(t, tt.want, Parts(tt.text)) })
	}
}

func TestLongNamesAreCutBeforeTimesAre(t *testing.T) {
	for name, o := range ordinary(t) {
		t.Run(name, func(t *testing.T) {
			f := with(o.facts, func(f *Facts) {
				f.SalonName, f.Stylist, f.Helper, f.Station = strings.Repeat("Salon ", 30), strings.Repeat("s", 200), strings.Repeat("h", 200), strings.Repeat("c", 200)
				f.Services = []string{strings.Repeat("service ", 30)}
				f.StillNeeded = append(f.StillNeeded, Needed{What: strings.Repeat("need ", 40), By: f.Start.Add(-time.Hour)})
			})
			s, err := English().Short(o.kind, f)
			require.NoError(t, err)
			require.LessOrEqual(t, characters(s), maxShort)
			require.Nil(t, unsaid("short", spoken(s), o.kind, English().values(o.kind, f)))
		})
	}
}

// The links are as long as those that are sent: a salon's address and a secret
// of 43 letters.
func TestEveryTextMessageToAClientSaysHowToStopThem(t *testing.T) {
	link := func(kind string) string {
		return "https://bookings.corner-salon.example/" + kind + "/" + strings.Repeat("k", 43)
	}
	for _, tag := range []string{"en", "de"} {
		w := English()
		if tag != "en" {
			w = language(t, tag)
		}
		for name, o := range ordinary(t) {
			t.Run(tag+" "+name, func(t *testing.T) {
				f := with(o.facts, func(f *Facts) {
					f.Link, f.BookLink, f.DayLink, f.StopLink, f.AnswerLink = link("v"), link("book"), link("day"), link("m"), ""
				})
				s, err := w.Short(o.kind, f)
				require.NoError(t, err)
				require.LessOrEqual(t, characters(s), maxShort)
				if o.kind.ForStaff() {
					require.NotContains(t, s, f.StopLink)
					return
				}
				require.Contains(t, s, f.StopLink)
				f.AnswerLink = f.StopLink // as reminders have it
				s, err = w.Short(o.kind, f)
				require.NoError(t, err)
				require.LessOrEqual(t, characters(s), maxShort)
				require.Equal(t, 1, strings.Count(s, f.StopLink), s)
			})
		}
	}
}

func TestTheLinkToStopGoesLastAndNeverFromWhatAsksAClientToComeAgain(t *testing.T) {
	long := "https://salon.example/" + strings.Repeat("x", 200)
	s, err := English().Short(Aftercare, with(ordinary(t)["aftercare"].facts, func(f *Facts) { f.StopLink = long }))
	require.NoError(t, err)
	require.NotContains(t, s, "xxx")
	require.Contains(t, s, "999")
	s, err = English().Short(Retouch, with(ordinary(t)["retouch"].facts, func(f *Facts) { f.StopLink, f.BookLink = long, long }))
	require.NoError(t, err)
	require.Equal(t, 1, strings.Count(s, long), "it can be stopped, and booked by telephone")
	require.Contains(t, s, "Stop texts: "+long)
	_, err = English().Short(Retouch, with(ordinary(t)["retouch"].facts, func(f *Facts) { f.StopLink = long + strings.Repeat("y", 250) }))
	require.Error(t, err)
}

func TestALinkIsLeftOutRatherThanCut(t *testing.T) {
	f := with(ordinary(t)["aftercare"].facts, func(f *Facts) { f.Link = "https://salon.example/" + strings.Repeat("x", 400) })
	s, err := English().Short(Aftercare, f)
	require.NoError(t, err)
	require.NotContains(t, s, "xxx")
	require.Contains(t, s, f.StopLink)
	require.Contains(t, s, "Sunday 14 June, 13:30")
	require.Contains(t, s, "999")
}

func TestATextMessageThatCannotBeShortSaysSo(t *testing.T) {
	f := with(ordinary(t)["reminder"].facts, func(f *Facts) { f.AnswerLink = "https://salon.example/" + strings.Repeat("x", 450) })
	_, err := English().Short(Reminder, f)
	var fault *scheduling.InvalidError
	require.ErrorAs(t, err, &fault)
	require.Equal(t, "short", fault.Field)
	require.NotContains(t, err.Error(), "xxx")
}

func TestPrintersSignsBecomePlain(t *testing.T) {
	s, err := English().Short(Cancelled, with(straightening(t), func(f *Facts) { f.SalonName = "Anna’s – “Hair”…" }))
	require.NoError(t, err)
	require.True(t, strings.HasPrefix(s, `Anna's - "Hair"...: your visit`), s)
	require.Equal(t, 1, Parts(s))
}
