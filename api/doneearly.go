package api

import (
	"context"
	"fmt"
	"time"

	"chairblock/scheduling"
	"chairblock/store"
)

// canEnd refuses an end of a visit that cannot be: it is measured against what was
// noted, or else inferred, of its beginning, which may lie before the planned one.
func canEnd(n salonDay, v store.Visit, ended, now time.Time) error {
	say := func(want string) error {
		problem := "is " + clockAt(n, ended)
		if !n.today(ended).Equal(n.today(now)) {
			problem = "is " + ended.In(n.loc).Format("15:04 on Monday 2 January")
		}
		return &scheduling.InvalidError{Field: "ended_at", Problem: problem, Want: want}
	}
	from, since := v.Start, "the visit begins then"
	if v.ArrivedAt != nil {
		from, since = *v.ArrivedAt, "the client is here since then"
	}
	marks := factsOf(v).marks()
	switch {
	case ended.After(now.Add(ahead)):
		return say("not later than now, " + clockAt(n, now))
	case v.ArrivedAt == nil && !ended.After(v.Start) && !isKept(v):
		return say(fmt.Sprintf("after %s, when the visit begins; if the client came earlier, note first that the client is here", clockAt(n, v.Start)))
	case len(marks) > 0 && ended.Before(marks[len(marks)-1].at):
		last := marks[len(marks)-1]
		return say(fmt.Sprintf("%s or later: “%s” was noted for then", clockAt(n, last.at), v.Steps[last.step].Label))
	// Who forgot to note that the client had come notes both at the end.
	case ended.Before(from), ended.Equal(from) && !ended.After(v.Start):
		return say(fmt.Sprintf("after %s: %s", clockAt(n, from), since))
	}
	return nil
}

// freeRest frees what a visit that is over still reserves, except for the clearing
// that follows it. client are the parts that the client's calendar shows now.
func freeRest(ctx context.Context, t *store.Tx, v store.Visit, client []store.Part) error {
	end := minuteUp(*v.FinishedAt)
	cut, err := t.CutBlocks(ctx, v.ID, end)
	if err != nil {
		return err
	}
	if !cut {
		return t.SyncClientParts(ctx, v.ID, v.Client, client)
	}
	return t.CutParts(ctx, v.ID, v.Client, end, client)
}

// minuteUp is at, or the next whole minute.
func minuteUp(at time.Time) time.Time { return at.Add(time.Minute - 1).Truncate(time.Minute) }

// asSpent is v for a drawing: of a visit that was over before its planned end the
// steps reach until then. What was planned stays in the visit itself.
func asSpent(v store.Visit) store.Visit {
	if v.FinishedAt == nil || !v.FinishedAt.Before(v.End) || v.State != store.Finished && v.State != store.StoppedEarly {
		return v
	}
	end, steps := minuteUp(*v.FinishedAt), make([]store.VisitStep, 0, len(v.Steps))
	for _, st := range v.Steps {
		if !st.Start.Before(end) {
			continue
		}
		if st.End.After(end) {
			st.End = end
		}
		steps = append(steps, st)
	}
	v.Steps = steps
	return v
}
