package api

import (
	"context"
	"slices"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/store"
)

// watchFor knows what to watch for in the steps of visits: the lines of the
// versions that they were booked with, filled with figures.
type watchFor struct {
	services map[store.ServiceKey]store.ServiceRow
	figures  map[string]string                      // the salon's own
	made     map[store.ServiceKey]map[string]string // with those of the makers, where some are known
}

// watchFor is what to watch for in a visit, with the figures of the makers of what
// it takes.
func (n salonDay) watchFor(ctx context.Context, t *store.Tx, v store.Visit) (watchFor, error) {
	services, err := t.ServicesOf(ctx, []store.Visit{v})
	if err != nil {
		return watchFor{}, err
	}
	said, err := makersOfVisit(ctx, t, v)
	return watchFor{services: services, figures: n.own.By(said.settings()).Figures(n.units())}, err
}

// watchForAll is what to watch for in visits with these services, with the figures
// of the makers of what the services take.
func (n salonDay) watchForAll(ctx context.Context, t *store.Tx, services map[store.ServiceKey]store.ServiceRow) (watchFor, error) {
	w := watchFor{services, n.own.Figures(n.units()), map[store.ServiceKey]map[string]string{}}
	var ids []string
	for _, row := range services {
		for _, x := range row.Products {
			ids = append(ids, x.Product)
		}
	}
	known, err := t.ProductsByID(ctx, ids...)
	if err != nil {
		return w, err
	}
	for key, row := range services {
		var said makers
		for _, x := range row.Products {
			if err := said.add(known[x.Product]); err != nil {
				return w, err
			}
		}
		if said != (makers{}) {
			w.made[key] = n.own.By(said.settings()).Figures(n.units())
		}
	}
	return w, nil
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
		kind, key := scheduling.StepKind(st.Kind), v.Services[st.Service].Key()
		figures := w.figures
		if made, ok := w.made[key]; ok {
			figures = made
		}
		out[i] = scheduling.Fill(linesOf(w.services[key].Steps, kind, seen[st.Service][kind]), figures)
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

// watchFor writes what to watch for in the steps of x into b, an estimate of it.
func (b *EstimateBody) watchFor(x scheduling.Service, figures map[string]string) {
	b.Steps = slices.Clone(b.Steps)
	seen := map[scheduling.StepKind]int{}
	for i := range b.Steps {
		kind := scheduling.StepKind(b.Steps[i].Kind)
		b.Steps[i].WatchFor = scheduling.Fill(linesOf(x.Steps, kind, seen[kind]), figures)
		seen[kind]++
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
