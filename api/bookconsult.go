package api

import (
	"cmp"
	"context"
	"slices"
	"strconv"
	"strings"
	"time"

	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/store"
)

// stepOfConsultation is the kind of the step that a consultation consists of.
const stepOfConsultation scheduling.StepKind = "consultation"

// mostConsultations is how many times for a consultation are listed, and
// consultationsOfADay how many of one day (judgement).
const (
	mostConsultations   = 6
	consultationsOfADay = 2
)

// consultation is the service that the answers on the telephone ask for first: the
// shortest consultation that is long enough, or else the longest. It is nil where
// the salon has none.
func (b *booking) consultation() *store.ServiceRow {
	var list []*store.ServiceRow
	for i, r := range b.rows {
		if r.Active && !r.Chemical && len(r.Steps) == 1 && r.Steps[0].Kind == stepOfConsultation {
			list = append(list, &b.rows[i])
		}
	}
	slices.SortStableFunc(list, func(a, z *store.ServiceRow) int { return cmp.Compare(a.Steps[0].Minutes, z.Steps[0].Minutes) })
	for _, r := range list {
		if r.Steps[0].Minutes >= b.phone.ConsultationMinutes {
			return r
		}
	}
	if len(list) == 0 {
		return nil
	}
	return list[len(list)-1]
}

// findConsultation lists times for the consultation that has to come first, and
// returns from when on the long visit may begin: when a skin test that is put on
// then can have been read.
func (b *booking) findConsultation(ctx context.Context) (*time.Time, error) {
	row := b.consultation()
	b.page.Behind = "Only a consultation can be booked for this hair now; the long visit is pencilled behind it."
	if row == nil {
		b.page.Behind = ""
		return nil, conflict("only a consultation can be booked for this hair, and the salon has no service for one: the owner adds it to the services")
	}
	b.page.Behind = row.Name + " first, " + strconv.Itoa(row.Steps[0].Minutes) + " minutes: for this hair nothing else can be booked yet. The long visit is pencilled behind it."
	v := b.page.Fields
	if len(v.History) == 0 && v.PhoneAsked() {
		b.page.Behind = "What was done to the hair in the last three years is not answered, which counts as something. Answer it first: after “nothing” the visit itself may be booked. As it is: " + b.page.Behind
	}
	services := []ServiceRequest{{ServiceID: row.ID, LeadID: v.Stylist}}
	c, err := compose(ctx, b.t, b.n, services)
	if err != nil {
		return nil, err
	}
	a, err := b.s.openings(ctx, b.t, b.n, c, OpeningsRequest{Services: services, FirstDate: v.DateFrom, ClientID: v.Client, Limit: 200}, "")
	if err != nil {
		return nil, err
	}
	of := map[string]int{}
	var first *time.Time
	for _, o := range a.Openings {
		day := o.Start.Format(time.DateOnly)
		half := day + o.Start.Format("PM")
		if len(b.page.Consultations) == mostConsultations || of[day] == consultationsOfADay || of[half] > 0 {
			continue
		}
		of[day]++
		of[half]++
		x := openingView(o)
		x.Chosen = x.ID == v.Consultation
		b.page.Consultations = append(b.page.Consultations, x)
		if first == nil || x.Chosen {
			wait, err := b.readAfter(ctx, o.End)
			if err != nil {
				return nil, err
			}
			end := o.End.Add(wait)
			first = &end
		}
	}
	if first == nil {
		return nil, conflict("there is no time for the consultation in the four weeks from that day: try a later one, or any stylist")
	}
	if !slices.ContainsFunc(b.page.Consultations, func(x pages.OpeningView) bool { return x.Chosen }) {
		b.page.Consultations[0].Chosen = true
	}
	return first, nil
}

// readAfter is how long after the end of the consultation the long visit may begin:
// until a skin test can have been read, where one is still needed.
func (b *booking) readAfter(ctx context.Context, end time.Time) (time.Duration, error) {
	if err := b.c.prove(ctx, b.t, b.n, b.page.Fields.Client, end); err != nil || b.c.tested {
		return 0, err
	}
	return time.Duration(b.n.time.PatchTestHours * float64(time.Hour)), nil
}

// bookConsultation books the chosen consultation and pencils the long visit behind
// it, both or none.
func (b *booking) bookConsultation(ctx context.Context, opening string) error {
	if b.phone == nil || !b.phone.OnlyConsultation {
		return conflict("the answers have changed: look for times once more")
	}
	row := b.consultation()
	if row == nil {
		return conflict("the salon has no service for a consultation")
	}
	long := slices.Clone(b.req)
	start, key, err := b.chosen(opening, long)
	if err != nil {
		return err
	}
	talk := []ServiceRequest{{ServiceID: row.ID}}
	at, _, err := b.chosen(b.page.Fields.Consultation, talk)
	if err != nil {
		return &scheduling.InvalidError{Problem: "no time is chosen for the consultation", Want: "one of the times shown"}
	}
	end := at.Add(time.Duration(row.Steps[0].Minutes) * time.Minute)
	wait, err := b.readAfter(ctx, end)
	if err != nil {
		return err
	}
	if start.Before(end.Add(wait)) {
		return conflict("the long visit begins before a skin test put on at the consultation can have been read: choose an earlier consultation or a later day")
	}
	b.first = nil // the consultation is hers alone
	both, err := b.onlyOnce(ctx, "/book/consultation", key, opening, func() (string, error) {
		v, err := b.bookNow(ctx, at, talk)
		if err != nil {
			return "", err
		}
		until := b.undecided(at, start)
		h, err := b.s.hold(ctx, b.t, b.n, HoldRequest{Start: start, Services: long, ClientID: v.Client, HoldFor: HoldFor{Until: &until}})
		return v.ID + " " + h.ID, err
	})
	b.done, b.after, _ = strings.Cut(both, " ")
	return err
}

// undecided is until when a long visit stays pencilled behind a consultation: the
// end of the day after it, so that there is a night to think about it (judgement),
// but not beyond the start.
func (b *booking) undecided(consultation, start time.Time) time.Time {
	_, until := scheduling.DayBounds(b.n.loc, scheduling.CivilDate(consultation, b.n.loc).Add(1))
	if until.After(start) {
		return start
	}
	return until
}
