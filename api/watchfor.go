package api

import (
	"context"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/store"
)

// watchFor knows what to watch for in the steps of visits: the lines of the
// versions that they were booked with, filled with the salon's figures.
type watchFor struct {
	services map[store.ServiceKey]store.ServiceRow
	figures  map[string]string
}

func (n salonDay) watchFor(ctx context.Context, t *store.Tx, visits ...store.Visit) (watchFor, error) {
	services, err := t.ServicesOf(ctx, visits)
	return watchFor{services, n.time.Figures(n.units())}, err
}

// units are what the salon measures in.
func (n salonDay) units() chairtime.Units { return unitsOf(n.row) }

// of lists the lines of each step of v. The steps of a service that are repeated
// for batches of a long head have the same lines.
func (w watchFor) of(v store.Visit) [][]string {
	out := make([][]string, len(v.Steps))
	seen := map[int]map[scheduling.StepKind]int{}
	for i, st := range v.Steps {
		if st.Service >= len(v.Services) {
			continue
		}
		if seen[st.Service] == nil {
			seen[st.Service] = map[scheduling.StepKind]int{}
		}
		kind := scheduling.StepKind(st.Kind)
		out[i] = scheduling.Fill(linesOf(w.services[v.Services[st.Service].Key()].Steps, kind, seen[st.Service][kind]), w.figures)
		seen[st.Service][kind]++
	}
	return out
}

// fill writes the lines of v into b, which shows it.
func (w watchFor) fill(b *VisitBody, v store.Visit) {
	for i, lines := range w.of(v) {
		b.Steps[i].WatchFor = lines
	}
}

// linesOf are the lines of the step of that kind which comes after so many of its
// kind, the last one where there are not so many.
func linesOf(steps []scheduling.Step, kind scheduling.StepKind, after int) []string {
	var of []scheduling.Step
	for _, st := range steps {
		if st.Kind == kind {
			of = append(of, st)
		}
	}
	switch {
	case len(of) > 0:
		return of[min(after, len(of)-1)].WatchFor
	case kind == scheduling.RinseShort: // which no service names
		return scheduling.StandardWatchFor(scheduling.Step{Kind: kind})
	}
	return nil
}
