package stylist_test

import (
	"encoding/json"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api/web/webtest"
	"chairblock/scheduling/card"
	"chairblock/store"
)

// counted is a stretch with product on the hair, as the script sees it.
type counted struct {
	Steps  []webtest.Object   `json:"steps"`
	Looks  []webtest.Object   `json:"looks"`
	Limits map[string]float64 `json:"limits"`
	State  string             `json:"state"`
	Now    int64              `json:"now"`
}

// said is what there is to do, in milliseconds since 1970.
type said struct {
	State   string `json:"state"`
	Minutes int    `json:"minutes"`
	Next    int64  `json:"next"`
	Latest  int64  `json:"latest"`
	Off     int64  `json:"off"`
	Max     bool   `json:"max"`
}

func ms(t *time.Time) int64 {
	if t == nil {
		return 0
	}
	return t.UnixMilli()
}

// anyRun makes a stretch with product on the hair for the script and the core.
func anyRun(r *rand.Rand) (counted, card.Limits, card.Run, time.Time) {
	pick := func(list ...float64) float64 { return list[r.IntN(len(list))] }
	l := card.Limits{FirstLook: pick(0, 5, 10), NextLook: pick(3, 5), LookGrace: pick(0, 3), WarnAfter: pick(0, 20, 40), OffAfter: pick(0, 30, 60), NeutralizerLeast: pick(0, 5), StretchMax: 1.5}
	now := nine.Add(time.Duration(r.IntN(90*60)) * time.Second)
	run := card.Run{Neutralizer: r.IntN(4) == 0, First: nine}
	product := "solution"
	if run.Neutralizer {
		product = "neutralizer"
	}
	apply := webtest.Object{"step": 0, "label": "apply", "planned": 20, "product": product, "hands": true, "start": nine.UnixMilli()}
	working := webtest.Object{"step": 1, "label": "working", "planned": 15, "product": product, "hands": false}
	if r.IntN(2) == 0 {
		applied := nine.Add(time.Duration(r.IntN(30)) * time.Minute)
		run.Applied = &applied
		working["start"] = applied.UnixMilli()
	}
	c := counted{Steps: []webtest.Object{apply, working, {"step": 2, "label": "rinse", "planned": 5, "hands": true}}, Looks: []webtest.Object{}, State: "under_way", Now: now.UnixMilli(),
		Limits: map[string]float64{"first_look_minutes": l.FirstLook, "next_look_minutes": l.NextLook, "look_grace_minutes": l.LookGrace, "warn_after_minutes": l.WarnAfter,
			"off_after_minutes": l.OffAfter, "neutralizer_least_minutes": l.NeutralizerLeast}}
	at := nine
	for range r.IntN(4) {
		at = at.Add(time.Duration(1+r.IntN(12)) * time.Minute)
		if at.After(now) {
			break
		}
		k := card.Look{At: at, Ready: r.IntN(5) == 0, Next: pick(0, 2, 5)}
		weak := r.IntN(8) == 0
		if weak {
			k.Stretch = 1.9
		}
		run.Looks = append(run.Looks, k)
		c.Looks = append(c.Looks, webtest.Object{"at": at.UnixMilli(), "ready": k.Ready, "weak": weak, "next": k.Next})
	}
	return c, l, run, now
}

func TestThePhoneCountsAsTheServerDoes(t *testing.T) {
	s, v := booked(t)
	b := phone(t, s, store.LeadRole, s.Ada)
	b.Open(s.URL + "/my-day/visits/" + v.ID)
	seed := time.Now().UnixNano()
	r := rand.New(rand.NewPCG(uint64(seed), 1))
	var cases []counted
	var want []said
	for range 500 {
		c, l, run, now := anyRun(r)
		w := l.Watch(run, now)
		cases = append(cases, c)
		want = append(want, said{string(w.State), w.Minutes, ms(w.Next), ms(w.Latest), ms(w.OffBy), w.AtMax})
	}
	doc, err := json.Marshal(cases)
	require.NoError(t, err)
	text := b.Eval(`JSON.stringify(` + string(doc) + `.map((m) => { const w = watching.watch(m, m.now);
		return { state: w.state, minutes: w.minutes, next: w.next, latest: w.latest, off: w.off, max: w.max }; }))`)
	var got []said
	require.NoError(t, json.Unmarshal([]byte(text), &got))
	for i := range want {
		require.Equal(t, want[i], got[i], "seed %d, case %d: %+v", seed, i, cases[i])
	}
}
