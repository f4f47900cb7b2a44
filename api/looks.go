package api

import (
	"context"

	"chairblock/api/notify"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// followLooks is followLook for a visit whose card was not read.
func (s *Server) followLooks(ctx context.Context, t *store.Tx, n salonDay, v store.Visit) error {
	rules, err := messageRulesOf(n.row)
	if err != nil || !*rules.TellChecks || isKept(v) {
		return err
	}
	x, err := cardOfVisit(ctx, t, n, v)
	if err != nil {
		return err
	}
	return s.followLook(ctx, t, x)
}

// followLook brings the message that hair is to be looked at in line with the
// record: only the next look is told, when it is due, to whoever watches.
func (s *Server) followLook(ctx context.Context, t *store.Tx, x *cardOf) error {
	rules, err := messageRulesOf(x.n.row)
	if err != nil || !*rules.TellChecks {
		return err
	}
	q, err := s.queueOf(ctx, t, x.n, x.v)
	if err != nil {
		return err
	}
	var want []occasion
	now := s.now()
	if r := x.running(now); r != nil && !r.run.Neutralizer && x.v.State == store.UnderWay {
		if w := x.limits.Watch(r.run, now); w.Next != nil {
			staff, station := x.watcher()
			want = append(want, occasion{kind: notify.CheckDue, staff: staff, due: *w.Next, reason: "look at " + q.at(*w.Next),
				detail: occasionDetail{messageDetail: messageDetail{CheckAt: w.Next, CheckBy: w.Latest, Station: station}}})
		}
	}
	return q.agree(ctx, []notify.Kind{notify.CheckDue}, want)
}

// watcher is who looks at the hair in the step that is going on, and where its
// client is.
func (x *cardOf) watcher() (staff, station string) {
	staff = x.v.Lead()
	for _, st := range x.v.Steps {
		if st.RealStart == nil || st.RealEnd != nil {
			continue
		}
		for _, u := range st.Units {
			switch u.Role {
			case openings.RoleWatcher:
				staff = u.Unit
			case openings.RoleBasin:
				station = u.Unit
			case openings.RoleChair:
				if station == "" {
					station = u.Unit
				}
			}
		}
	}
	return staff, station
}
