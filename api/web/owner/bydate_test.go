package owner_test

import (
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/chromium"
	"chairblock/api/web/owner"
	"chairblock/api/web/webtest"
	"chairblock/store"
)

// blank are the fields of a week, and of its breaks, without hours.
func blank(week string, keep map[string]string) map[string]string {
	out := map[string]string{}
	for _, kind := range []string{"work", "break"} {
		for _, d := range []string{"1", "2", "3", "4", "5", "6", "7"} {
			out[kind+week+"-"+d] = ""
		}
	}
	for k, x := range keep {
		out[k] = x
	}
	return out
}

func together(list ...map[string]string) map[string]string {
	out := map[string]string{}
	for _, m := range list {
		for k, x := range m {
			out[k] = x
		}
	}
	return out
}

func TestWeeksByDateAreNotedChangedEndedAndTakenBackWithoutScripts(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	person := "/set-up/people/" + s.Ada
	d.see(person).says(t, "Other weeks from a date on", "Add: two weeks in turn", "Single days", "The next four weeks")
	p := d.see(person + "/weeks?turns=2")
	p.says(t, "Two weeks in turn", "First week", "Second week: breaks", "Three weeks in turn instead")
	typed, _ := p.form(t, "weeks")
	require.Equal(t, "09:00–19:00", typed.Get("weeks-work2-2"), "it begins with the working week")

	fields := together(blank("1", map[string]string{"work1-2": "9-18", "work1-3": "9-18", "break1-3": "12-12:30", "first": "2026-09-01"}),
		blank("2", map[string]string{"work2-2": "9-18", "work2-6": "10 bis 4"}))
	p = d.fill(p, "weeks", fields)
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	p.says(t, "Saturday: “10 bis 4” cannot be read.")
	typed, _ = p.form(t, "weeks")
	require.Equal(t, "10 bis 4", typed.Get("weeks-work2-6"), "what was typed is kept")
	require.Equal(t, "2026-09-01", typed.Get("weeks-first"))
	require.Equal(t, "2", typed.Get("turns"))
	p = d.fill(p, "weeks", map[string]string{"work2-6": "10-16", "last": "2026-08-31"})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	require.Contains(t, p.body, `id="e-weeks-last"`)
	p = d.fill(p, "weeks", map[string]string{"last": ""})
	p.says(t, "The weeks are noted.", "from Tue 1 September 2026 until further notice",
		"Two weeks in turn. First week: Tue–Wed 09:00–18:00. Second week: Tue 09:00–18:00; Sat 10:00–16:00.",
		"the first week is that from Mon 31 August 2026; breaks Wed 12:00–12:30 in the first week")

	// Another one on the same dates is refused at its field, in words.
	p = d.fill(d.see(person+"/weeks"), "weeks", map[string]string{"first": "2026-10-01"})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	p.says(t, "Meets other weeks by date of the same person, which hold from 1 September 2026 until further notice")
	require.Contains(t, p.body, `id="e-weeks-first"`)

	var list struct{ Items []api.DatedRotaBody }
	s.Ask(http.MethodGet, "/staff/"+s.Ada+"/rotas", nil, http.StatusOK, &list)
	require.Len(t, list.Items, 1)
	one := person + "/weeks/" + list.Items[0].ID
	p = d.see(one)
	p.says(t, "When they end", "Afterwards the working week holds again.")
	// Somebody else changes them meanwhile: nothing is lost.
	stale := d.see(one)
	d.fill(p, "weeks", map[string]string{"work1-4": "9-12"}).says(t, "The weeks are noted.", "Thu 09:00–12:00")
	p = d.fill(stale, "weeks", map[string]string{"work1-4": "9-13"})
	require.Equal(t, http.StatusPreconditionFailed, p.status)
	p.says(t, "Somebody else changed this in the meantime", "Stands there now: 09:00–12:00.")
	typed, _ = p.form(t, "weeks")
	require.Equal(t, "9-13", typed.Get("weeks-work1-4"))
	p = d.fill(d.see(one), "end", map[string]string{"last": ""})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	p = d.fill(p, "end", map[string]string{"last": "2026-08-01"})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	d.fill(p, "end", map[string]string{"last": "2026-09-30"}).says(t, "from Tue 1 September 2026 to Wed 30 September 2026")
	p = d.fill(d.see(one), "gone", nil)
	p.says(t, "Taken back: the working week holds on those days.")
	require.NotContains(t, p.text(), "September 2026")
	require.Equal(t, http.StatusNotFound, d.get(one).status)
	require.Equal(t, http.StatusNotFound, d.get("/set-up/people/nobody/weeks").status)
}

func TestSingleDaysAreNotedChangedAndTakenBackWithoutScripts(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	person := "/set-up/people/" + s.Ada
	p := d.fill(d.see(person), "day", map[string]string{"date": "2026-06-14", "work": "ten", "breaks": "12-12:30"})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	p.says(t, "“ten” cannot be read.")
	typed, _ := p.form(t, "day")
	require.Equal(t, "12-12:30", typed.Get("day-breaks"))
	p = d.fill(p, "day", map[string]string{"work": "10-15"})
	p.says(t, "The day is noted.", "Sun 14 June 2026", "10:00–15:00", "break 12:00–12:30; the salon is not open all of that time", "single day; salon not open")
	p = d.fill(p, "day", map[string]string{"date": "2026-06-14", "work": "", "breaks": ""})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	p.says(t, "Has hours of its own already")
	p = d.fill(p, "day", map[string]string{"date": "2026-06-15"})
	p.says(t, "Mon 15 June 2026", "does not work")
	p = d.fill(d.see(person+"/days/2026-06-15"), "day", map[string]string{"work": "20-2"})
	p.says(t, "20:00–02:00")
	for _, date := range []string{"2026-06-15", "2026-06-14"} {
		d.fill(d.see(person+"/days/"+date), "gone", nil).says(t, "Taken back: the week holds on that day.")
	}
	var list struct{ Items []api.SingleDayBody }
	s.Ask(http.MethodGet, "/staff/"+s.Ada+"/single-days", nil, http.StatusOK, &list)
	require.Empty(t, list.Items)
	d.see("/set-up/people").says(t, "Ada Birch")
}

func TestASecondPressOnHoursByDateAddsNothing(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	person := "/set-up/people/" + s.Ada
	days, weeks := person+"/days", person+"/weeks"
	day, _ := d.see(person).form(t, "day")
	day.Set("day-date", "2026-06-14")
	day.Set("day-work", "10-15")
	week, _ := d.see(weeks).form(t, "weeks")
	week.Set("weeks-first", "2026-09-01")
	for range 2 {
		d.send(http.MethodPost, days, day).says(t, "The day is noted.")
		d.send(http.MethodPost, weeks, week).says(t, "The weeks are noted.")
	}
	var both sync.WaitGroup
	next, _ := d.see(person).form(t, "day")
	next.Set("day-date", "2026-06-21")
	said := make([]int, 2)
	for i := range said {
		both.Go(func() { said[i] = d.send(http.MethodPost, days, next).status })
	}
	both.Wait()
	require.Equal(t, []int{http.StatusOK, http.StatusOK}, said, "pressed at once")
	var list struct{ Items []struct{} }
	s.Ask(http.MethodGet, "/staff/"+s.Ada+"/single-days", nil, http.StatusOK, &list)
	require.Len(t, list.Items, 2)
	s.Ask(http.MethodGet, "/staff/"+s.Ada+"/rotas", nil, http.StatusOK, &list)
	require.Len(t, list.Items, 1)

	// By the interface, the same key gives the same answer, and another body none.
	path, key := "/staff/"+s.Noor+"/rotas", []string{"Idempotency-Key", "noor-1"}
	body := webtest.Object{"first_date": "2026-09-01", "weeks": []webtest.Object{{"work": []webtest.Object{}, "breaks": []webtest.Object{}}}}
	var first, again api.DatedRotaBody
	s.Ask(http.MethodPost, path, body, http.StatusCreated, &first, key...)
	require.Equal(t, "true", s.Ask(http.MethodPost, path, body, http.StatusCreated, &again, key...).Get("Idempotent-Replayed"))
	require.Equal(t, first, again)
	body["first_date"] = "2027-09-01"
	s.Ask(http.MethodPost, path, body, http.StatusUnprocessableEntity, nil, key...)
}

func TestWhatHoursByDateHitIsShownFirst(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	v := s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, tuesday)
	person := "/set-up/people/" + s.Ada
	hours := together(blank("1", map[string]string{"work1-3": "9-18"}), map[string]string{"first": "2026-06-01", "last": "2026-06-30"})
	for _, x := range []struct {
		name, page, form string
		fields           map[string]string
	}{
		{"other weeks", person + "/weeks?turns=1", "weeks", hours},
		{"a day off", person, "day", map[string]string{"date": "2026-06-09"}},
		{"a shorter day", person, "day", map[string]string{"date": "2026-06-09", "work": "9-11"}},
	} {
		t.Run(x.name, func(t *testing.T) {
			d := *d
			d.t = t
			before := rota(s)
			p := d.fill(d.see(x.page), x.form, x.fields)
			p.says(t, "1 visit is hit", "Juna K.", "Nothing is changed yet.", "Ada Birch is not there from", "Noor Vale in charge")
			require.Contains(t, p.body, `href="/visits/`+v.ID+`/move"`)
			require.Equal(t, before, rota(s))
			back := d.fill(p, x.form, map[string]string{"do": "back"})
			typed, _ := back.form(t, x.form)
			for field, value := range x.fields {
				require.Equal(t, value, typed.Get(x.form+"-"+field), "going back loses nothing")
			}
		})
	}
	p := d.fill(d.see(person), "day", map[string]string{"date": "2026-06-09"})
	d.fill(p, "day", map[string]string{"do": "sure"}).says(t, "The day is noted.", "does not work")
	var day api.DayBody
	s.Ask(http.MethodGet, "/days/2026-06-09", nil, http.StatusOK, &day)
	require.NotEmpty(t, day.Conflicts, "it stands on the board until somebody moves it")

	// The visit now hangs on a day of its own: taking that back would hit it again.
	d.fill(d.see(person+"/days/2026-06-09"), "day", map[string]string{"work": "8-20"})
	d.fill(d.see(person+"/weeks"), "weeks", hours).says(t, "The weeks are noted.")
	d.fill(d.see(person+"/days/2026-06-09"), "gone", nil).says(t, "1 visit is hit", "Do it all the same")
	require.Contains(t, d.see("/set-up/people").text(), "other hours by date")
}

func TestHoursByDateInABrowser(t *testing.T) {
	t.Parallel()
	s := webtest.New(t, owner.Mount)
	s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, tuesday)
	b := chromium.New(t)
	b.Open(s.Link(store.Owner, ""))
	person := s.URL + "/set-up/people/" + s.Ada
	b.Light(person + "/weeks?turns=4")
	looked(b, "weeks-four")
	b.Scripts(false)
	b.Open(person + "/weeks?turns=2")
	b.Fill(map[string]string{"weeks-first": "2026-06-01", "weeks-work1-6": "", "weeks-work2-2": ""})
	b.Press(`form:has(#f-weeks-first) button.main`)
	require.Contains(t, b.Text(), "1 visit is hit")
	b.Press(`button[value="back"]`)
	require.Equal(t, "2026-06-01", b.Value("weeks-first"))
	b.Press(`form:has(#f-weeks-first) button.main`)
	b.Press(`button[value="sure"]`)
	require.Contains(t, b.Text(), "The weeks are noted.")
	b.Fill(map[string]string{"day-date": "2026-06-14", "day-work": "10-15"})
	b.Press(`form:has(#f-day-date) button.main`)
	require.Contains(t, b.Text(), "The day is noted.")
	b.Scripts(true)
	b.Light(person)
	looked(b, "person-by-date")
	b.Light(person + "/days/2026-06-14")
	looked(b, "single-day")
	var list struct{ Items []api.DatedRotaBody }
	s.Ask(http.MethodGet, "/staff/"+s.Ada+"/rotas", nil, http.StatusOK, &list)
	b.Light(person + "/weeks/" + list.Items[0].ID)
	looked(b, "weeks")
	b.Fill(map[string]string{"weeks-work1-1": strings.Repeat("x", 9)})
	b.Press(`form:has(#f-weeks-first) button.main`)
	looked(b, "weeks-refused")
	b.Quiet("422")
}

func TestTheOwnerOpensOnAnExtraDayAndSeesWhatAnEarlyEndHits(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	const hours = "/set-up/hours"
	p := d.fill(d.see(hours), "openday", map[string]string{"date": "2026-06-14", "open": "ten", "reason": "fair"})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	p.says(t, "“ten” cannot be read.")
	typed, _ := p.form(t, "openday")
	require.Equal(t, "fair", typed.Get("openday-reason"))
	p = d.fill(p, "openday", map[string]string{"open": "10-14", "who": s.Ada})
	p.says(t, "The hours of the day are noted.", "Sun 14 June 2026", "10:00–14:00", "fair")
	d.see("/set-up/people/"+s.Ada).says(t, "Sun 14 June 2026", "10:00–14:00")
	p = d.fill(d.see(hours), "openday", map[string]string{"date": "2026-06-14", "open": "9-10"})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	p.says(t, "Has opening hours of its own already")

	v := s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, time.Date(2026, 6, 9, 11, 0, 0, 0, time.UTC)) // Tuesday at noon
	p = d.fill(d.see(hours), "openday", map[string]string{"date": "2026-06-09", "open": "9-13"})
	p.says(t, "1 visit is hit", "Juna K.", "Nothing is changed yet")
	d.fill(p, "openday", map[string]string{"do": "sure"}).says(t, "The hours of the day are noted.", "Tue 9 June 2026")
	var day api.DayBody
	s.Ask(http.MethodGet, "/days/2026-06-09", nil, http.StatusOK, &day)
	require.Equal(t, "13:00", day.Open[0].To.Format("15:04"))
	p = d.fill(d.see(hours+"/days/2026-06-09"), "openday", map[string]string{"open": "9-20"})
	p.says(t, "The hours of the day are noted.", "09:00–20:00")
	d.fill(d.see(hours+"/days/2026-06-09"), "gone", nil).says(t, "Taken back: the week holds on that day.")
	require.NotEmpty(t, v.ID)
}
