package api_test

import (
	"bytes"
	"fmt"
	"os"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// sendDue lets everything that is due by the clock go out, as far as the database
// can tell.
func (s *salon) sendDue() {
	s.t.Helper()
	db := s.db()
	_, err := db.Exec(`UPDATE reminder SET state = 'sent', done_at = due_at WHERE state = 'waiting' AND due_at <= $1`, *s.clock.Load())
	require.NoError(s.t, err)
}

// toClient lists the kinds of the messages to the client of a visit, in the order in
// which they are due.
func toClient(v api.VisitBody) []string {
	var out []string
	for _, r := range v.Reminders {
		if r.StaffID == "" {
			out = append(out, r.Kind)
		}
	}
	return out
}

// waiting lists the messages that wait, in the order in which they are due: when,
// what and to whom.
func (s *salon) waiting() []string {
	s.t.Helper()
	db := s.db()
	rows, err := db.Query(`SELECT r.due_at, r.kind, coalesce(u.name, c.given_name || ', client'), r.detail->'late_minutes', v.starts_at
		FROM reminder r JOIN visit v USING (salon_id, visit_id) LEFT JOIN client c USING (salon_id, client_id)
		LEFT JOIN unit u ON u.salon_id = r.salon_id AND u.unit_id = r.staff_id
		WHERE r.salon_id = $1 AND r.state = 'waiting' ORDER BY r.due_at, r.kind, 3`, s.row.ID)
	require.NoError(s.t, err)
	defer rows.Close()
	var out []string
	for rows.Next() {
		var due, start time.Time
		var kind, to string
		var late *string
		require.NoError(s.t, rows.Scan(&due, &kind, &to, &late, &start))
		line := fmt.Sprintf("%s  %-13s to %s", due.In(berlin(s.t)).Format("Mon 02 Jan 2006 15:04"), kind, to)
		if late != nil {
			line += ", " + *late + " minutes"
		}
		out = append(out, line)
	}
	require.NoError(s.t, rows.Err())
	return out
}

// TestWhichMessagesWaitAfterWhatHappens is a table for people: it is kept in
// testdata/waiting.txt, and read there.
func TestWhichMessagesWaitAfterWhatHappens(t *testing.T) {
	var got bytes.Buffer
	for _, x := range happenings() {
		s := newSalon(t)
		fmt.Fprintf(&got, "%s\n", x.name)
		x.do(s)
		for _, line := range s.waiting() {
			fmt.Fprintf(&got, "  %s\n", line)
		}
		fmt.Fprintln(&got)
	}
	if *update {
		require.NoError(t, os.WriteFile("testdata/waiting.txt", got.Bytes(), 0o644))
	}
	want, err := os.ReadFile("testdata/waiting.txt")
	require.NoError(t, err)
	require.Equal(t, string(want), got.String())
}

// friday is a time on the Friday after start, four days away.
func friday(hour, minute int) time.Time { return monday(hour, minute).AddDate(0, 0, 4) }

type happening struct {
	name string
	do   func(s *salon)
}

func (s *salon) upon(v api.VisitBody, tag string) *noting { return &noting{s, v.ID, tag, v} }

// onFriday books a straightening of Mara for Friday at ten.
func onFriday(s *salon) *noting {
	return s.upon(s.book(s.client("Mara"), friday(10, 0), s.straightening()))
}

// cutOnFriday books a cut of Nora by Ben, with whom Mina is not.
func cutOnFriday(s *salon) *noting {
	return s.upon(s.book(s.client("Nora"), friday(10, 0), s.trim(s.ben)))
}

// to moves x, and forgets nothing of what is due meanwhile.
func (x *noting) to(at time.Time) {
	x.t.Helper()
	a := x.call("POST", "/v1/visits/"+x.id+"/move", object{"start": at, "approved_by": "Ada"}, "If-Match", x.tag).is(200, &x.v)
	x.tag = a.header.Get("ETag")
}

func (x *noting) after(what string) {
	x.t.Helper()
	a := x.change(x.id, what, x.tag).is(200, &x.v)
	x.tag = a.header.Get("ETag")
}

func happenings() []happening {
	finished := func(s *salon) *noting {
		x := onFriday(s)
		s.sendDue()
		s.at(friday(10, 0))
		s.sendDue()
		x.after("arrive")
		s.at(friday(14, 40))
		s.sendDue()
		x.after("finish")
		return x
	}
	stopped := func(s *salon) *noting {
		x := inSolution(s)
		s.sendDue()
		s.at(monday(10, 0))
		x.call("POST", "/v1/visits/"+x.id+"/stop", object{"reason": "skin", "outcome": "rinsed", "licensed": "Ada"}, "Idempotency-Key", "stop").is(201, nil)
		_, x.tag = s.read(x.id)
		return x
	}
	washed := func(s *salon, x *noting) *noting {
		var v api.VisitBody
		a := x.follow("first-wash-check", object{"start": friday(9, 0).AddDate(0, 0, 4)}).is(201, &v)
		return s.upon(v, a.header.Get("ETag"))
	}
	return append(append(beforeTheDay(), onTheDay()...),
		happening{"a straightening is finished at 14:40", func(s *salon) { finished(s) }},
		happening{"a cut is finished", func(s *salon) {
			x := cutOnFriday(s)
			s.sendDue()
			s.at(friday(10, 30))
			s.sendDue()
			x.after("finish")
		}},
		happening{"a straightening is finished, and everything of the next two days has gone out", func(s *salon) {
			finished(s)
			s.at(friday(15, 0).AddDate(0, 0, 2))
			s.sendDue()
		}},
		happening{"after it the look after the first wash is booked", func(s *salon) {
			x := finished(s)
			s.sendDue()
			washed(s, x)
			s.sendDue()
		}},
		happening{"and that look is cancelled again", func(s *salon) {
			x := finished(s)
			s.sendDue()
			y := washed(s, x)
			s.sendDue()
			y.after("cancel")
		}},
		happening{"after it a retouch is booked for December", func(s *salon) {
			x := finished(s)
			s.sendDue()
			s.book(x.v.ClientID, friday(10, 0).AddDate(0, 6, 0), s.straightening())
			s.sendDue()
		}},
		happening{"and that retouch is cancelled again", func(s *salon) {
			x := finished(s)
			s.sendDue()
			y := s.upon(s.book(x.v.ClientID, friday(10, 0).AddDate(0, 6, 0), s.straightening()))
			s.sendDue()
			y.after("cancel")
		}},
		happening{"after it the rules keep hair dry for 72 hours and call back at 6 cm", func(s *salon) {
			finished(s)
			s.sendDue()
			s.call("PUT", "/v1/care-rules", object{"keep_dry_hours": 72, "no_tie_hours": 72, "retouch_due_cm": 6}, "If-Match", `"v1"`).is(200, nil)
		}},
		happening{"a visit under way is stopped early", func(s *salon) { stopped(s) }},
		happening{"and what follows it is cleared", func(s *salon) {
			x := stopped(s)
			s.at(monday(18, 0))
			x.call("POST", "/v1/visits/"+x.id+"/clear-follow-up", object{"licensed": "Ada"}, "If-Match", x.tag).is(200, nil)
		}},
		happening{"a client with a visit cannot be deleted, and nothing changes", func(s *salon) {
			x := cutOnFriday(s)
			s.call("DELETE", "/v1/clients/"+x.v.ClientID, nil, "If-Match", `"v1"`).refused(409, "conflict")
		}},
		happening{"a salon is deleted", func(s *salon) {
			onFriday(s)
			require.NoError(s.t, s.store.InTx(s.t.Context(), s.row.ID, func(t *store.Tx) error { return t.DeleteSalon(s.t.Context()) }))
		}},
	)
}

func beforeTheDay() []happening {
	pencilled := func(s *salon, more object) *noting {
		more["client_id"] = s.client("Mara")
		return s.upon(s.pencil(friday(10, 0), s.straightening(), more))
	}
	until := func(day int) object { return object{"until": monday(18, 0).AddDate(0, 0, day)} }
	return []happening{
		{"a straightening is booked for Friday", func(s *salon) { onFriday(s) }},
		{"a cut is booked for Friday", func(s *salon) { cutOnFriday(s) }},
		{"a straightening is booked for Friday in a salon that tests skin", func(s *salon) {
			s.testsSkin()
			s.call("PUT", "/v1/message-rules", object{"prepare_hours_before": 24}, "If-Match", `"v2"`).is(200, nil)
			onFriday(s)
		}},
		{"a straightening is booked for tomorrow", func(s *salon) { s.book(s.client("Mara"), tuesday(10, 0), s.straightening()) }},
		{"a cut is booked for today", func(s *salon) { s.book(s.client("Nora"), monday(12, 0), s.trim(s.ben)) }},
		{"Ben books a cut of his own for today", func(s *salon) {
			c := s.client("Nora")
			s.asPerson(store.LeadRole, s.ben).book(c, monday(12, 0), s.trim(s.ben))
		}},
		{"a straightening is pencilled for Friday until Tuesday", func(s *salon) { pencilled(s, until(1)) }},
		{"a straightening is pencilled for twenty minutes", func(s *salon) { pencilled(s, object{"minutes": 20}) }},
		{"a straightening is pencilled for nobody who is known", func(s *salon) {
			s.pencil(friday(10, 0), s.straightening(), object{"title": "caller", "until": monday(18, 0).AddDate(0, 0, 1)})
		}},
		{"it is pencilled, the client is told, and it stays pencilled until Wednesday", func(s *salon) {
			x := pencilled(s, until(1))
			s.sendDue()
			x.call("POST", "/v1/visits/"+x.id+"/hold", until(2), "If-Match", x.tag).is(200, nil)
		}},
		{"it is pencilled and booked", func(s *salon) {
			x := pencilled(s, until(1))
			x.bookHeld(x.id, x.tag, nil).is(200, nil)
		}},
		{"it is pencilled and given up before the client is told", func(s *salon) {
			pencilled(s, until(1)).after("release")
		}},
		{"it is pencilled, the client is told, and it is given up", func(s *salon) {
			x := pencilled(s, until(1))
			s.sendDue()
			x.after("release")
		}},
		{"it is pencilled and lapses before the client is told", func(s *salon) {
			pencilled(s, until(1))
			s.at(monday(18, 1).AddDate(0, 0, 1))
			require.NoError(s.t, s.store.InTx(s.t.Context(), s.row.ID, func(t *store.Tx) error { return t.LapseHeld(s.t.Context(), monday(18, 1).AddDate(0, 0, 1)) }))
		}},
		{"it is pencilled, lapses and is booked all the same", func(s *salon) {
			x := pencilled(s, until(1))
			s.sendDue()
			s.at(monday(18, 1).AddDate(0, 0, 1))
			x.bookHeld(x.id, x.tag, nil).is(200, nil)
		}},
		{"the visit of Friday moves to Saturday before its confirmation has gone out", func(s *salon) { onFriday(s).to(friday(10, 0).AddDate(0, 0, 1)) }},
		{"it moves after that", func(s *salon) {
			x := onFriday(s)
			s.sendDue()
			x.to(friday(10, 0).AddDate(0, 0, 1))
		}},
		{"it moves twice before the client hears of it", func(s *salon) {
			x := onFriday(s)
			s.sendDue()
			x.to(friday(10, 0).AddDate(0, 0, 1))
			s.at(monday(8, 30))
			x.to(friday(11, 0).AddDate(0, 0, 1))
		}},
		{"it moves and moves back before the client hears of it", func(s *salon) {
			x := onFriday(s)
			s.sendDue()
			x.to(friday(10, 0).AddDate(0, 0, 1))
			x.to(friday(10, 0))
		}},
		{"it moves to tomorrow, and how to prepare was not said yet", func(s *salon) {
			x := onFriday(s)
			s.sendDue()
			x.to(tuesday(10, 0))
		}},
		{"it moves by a day when how to prepare was said shortly before", func(s *salon) {
			x := s.upon(s.book(s.client("Mara"), tuesday(10, 0).AddDate(0, 0, 1), s.straightening()))
			s.sendDue()
			x.to(tuesday(10, 0).AddDate(0, 0, 2))
		}},
		{"two cuts of Friday change places", func(s *salon) {
			x := cutOnFriday(s)
			y := s.upon(s.book(s.client("Ines"), friday(14, 0), s.trim(s.ada)))
			s.sendDue()
			s.swap(x.id, y.id, nil).is(200, nil)
		}},
		{"the cut of Friday gets ten minutes more", func(s *salon) {
			x := cutOnFriday(s)
			s.sendDue()
			s.extend(x.id, x.tag, object{"minutes": 10}).is(200, nil)
		}},
		{"the visit of Friday is cancelled before its confirmation has gone out", func(s *salon) { onFriday(s).after("cancel") }},
		{"it moves and is cancelled before the client hears of either", func(s *salon) {
			x := onFriday(s)
			s.sendDue()
			x.to(friday(10, 0).AddDate(0, 0, 1))
			x.after("cancel")
			require.Equal(s.t, []string{"2026-06-12 10:00"}, s.column(`SELECT to_char(before_at AT TIME ZONE 'Europe/Berlin', 'YYYY-MM-DD HH24:MI') FROM reminder WHERE kind = 'cancelled'`),
				"what is cancelled for her is Friday")
		}},
		{"a cut of tomorrow is cancelled when all were told of it", func(s *salon) {
			x := s.upon(s.book(s.client("Nora"), tuesday(10, 0), s.trim(s.ben)))
			s.at(monday(8, 10))
			s.sendDue()
			x.after("cancel")
		}},
		{"a cut of tomorrow moves to noon when all were told of it", func(s *salon) {
			x := s.upon(s.book(s.client("Nora"), tuesday(10, 0), s.trim(s.ben)))
			s.at(monday(8, 10))
			s.sendDue()
			x.to(tuesday(12, 0))
		}},
		{"a busy desk books four cuts for tomorrow and cancels one", func(s *salon) {
			for i := range 4 {
				x := s.upon(s.book(s.client(fmt.Sprintf("Client%d", i)), tuesday(10+i, 0), s.trim(s.ben)))
				s.at(monday(8, i))
				if i == 2 {
					x.after("cancel")
				}
			}
		}},
		{"Mina is away on Friday, when she was to help", func(s *salon) { minaAway(s) }},
		{"and she is there after all", func(s *salon) {
			s.call("DELETE", "/v1/absences/"+minaAway(s), nil).is(204, nil)
		}},
		{"she is away, and the visit moves to Saturday", func(s *salon) {
			x := onFriday(s)
			s.absent(s.mina, friday(9, 0), friday(18, 0))
			x.to(friday(10, 0).AddDate(0, 0, 1))
		}},
	}
}

// absent notes that somebody is away.
func (s *salon) absent(unit string, from, to time.Time) string {
	s.t.Helper()
	var a api.AbsenceBody
	s.call("POST", "/v1/absences", object{"unit_id": unit, "from": from, "to": to}).is(201, &a)
	return a.ID
}

func minaAway(s *salon) string {
	x := onFriday(s)
	helps := slices.ContainsFunc(x.v.Steps, func(st api.VisitStepBody) bool {
		return slices.ContainsFunc(st.Units, func(u api.StepUnitBody) bool { return u.UnitID == s.mina })
	})
	require.True(s.t, helps)
	return s.absent(s.mina, friday(9, 0), friday(18, 0))
}

func onTheDay() []happening {
	here := func(s *salon) *noting {
		x := onFriday(s)
		s.at(friday(9, 55))
		s.sendDue()
		x.after("arrive")
		return x
	}
	return []happening{
		{"the client of ten o'clock is here at 9:55", func(s *salon) { here(s) }},
		{"she was noted by mistake, and is not", func(s *salon) {
			x := onFriday(s)
			s.at(friday(9, 55))
			s.sendDue()
			x.after("steps/0/start")
			x.after("steps/0/undo")
		}},
		{"she has not come by a quarter past ten", func(s *salon) {
			onFriday(s)
			s.at(friday(10, 9))
			s.sendDue()
		}},
		{"she did not come", func(s *salon) {
			x := onFriday(s)
			s.at(friday(10, 20))
			s.sendDue()
			x.after("miss")
		}},
		{"Ada notes that she did not come", func(s *salon) {
			x := onFriday(s)
			s.at(friday(10, 20))
			s.sendDue()
			s.asPerson(store.Desk, s.ada).change(x.id, "miss", x.tag).is(200, nil)
		}},
		{"a client comes in without an appointment", func(s *salon) {
			s.at(monday(10, 0))
			s.walkIn("w", object{"service_id": s.services["Dry cut"], "given_name": "Rosa"}).is(201, nil)
		}},
		{"time is kept for nobody", func(s *salon) {
			s.at(monday(10, 0))
			s.keep("k", object{"unit_ids": []string{s.ben}, "start": monday(11, 0), "minutes": 30, "title": "errand"}).is(201, nil)
		}},
		{"the visit before runs over, and the desk tells the next client", func(s *salon) {
			_, x := lateMorning(s)
			s.sendDue()
			x.call("POST", "/v1/visits/"+x.id+"/tell-running-late", nil).is(200, nil)
		}},
		{"and then she comes", func(s *salon) {
			_, x := lateMorning(s)
			s.sendDue()
			x.call("POST", "/v1/visits/"+x.id+"/tell-running-late", nil).is(200, nil)
			x.after("arrive")
		}},
	}
}

// lateMorning is two cuts of Ada's, at 10:00 and 10:35. It is 10:30, and the first
// has just begun.
func lateMorning(s *salon) (first, second *noting) {
	s.t.Helper()
	first = s.upon(s.book(s.client("Mara"), monday(10, 0), s.trim(s.ada)))
	second = s.upon(s.book(s.client("Nora"), first.v.End.Add(5*time.Minute), s.trim(s.ada)))
	s.at(monday(10, 0))
	first.after("arrive")
	s.at(first.v.End.Add(-2 * time.Minute))
	first.after("steps/0/start")
	s.at(first.v.End)
	return first, second
}
