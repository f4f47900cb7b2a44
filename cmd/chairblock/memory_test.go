package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// What the commands may take for the longest file that they accept.
const (
	longestProblem = 1 << 20
	mostHeap       = 64 << 20
)

// heapOf returns how many bytes more than before the heap has held while f was
// at work, looked at every half a millisecond, garbage included.
func heapOf(f func()) uint64 {
	heap := func() uint64 {
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	runtime.GC()
	before, peak := heap(), uint64(0)
	stop, stopped := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(stopped)
		for tick := time.NewTicker(time.Millisecond / 2); ; {
			peak = max(peak, heap())
			select {
			case <-tick.C:
			case <-stop:
				tick.Stop()
				return
			}
		}
	}()
	f()
	close(stop)
	<-stopped
	return max(peak, heap(), before) - before
}

// object is a JSON object.
type object map[string]any

// longest returns the longest accepted file of make(n) over n.
func longest(t *testing.T, most int, problem func(n int) object) []byte {
	t.Helper()
	lo, hi := 1, most
	for lo < hi {
		mid := (lo + hi + 1) / 2
		data, err := json.Marshal(problem(mid))
		require.NoError(t, err)
		if len(data) <= longestProblem {
			lo = mid
		} else {
			hi = mid - 1
		}
	}
	data, err := json.Marshal(problem(lo))
	require.NoError(t, err)
	return data
}

// visitOf is a visit of n phases, each of which needs somebody else.
func visitOf(n int) object {
	v := object{"roles": []object{{"role": "lead", "kinds": []string{"stylist"}}, {"role": "chair", "kinds": []string{"chair"}}}}
	phases, gaps := []object{}, []object{}
	for i := range n {
		ph := object{"name": fmt.Sprint("phase ", i), "minutes": 5, "roles": []string{"lead", "chair"}}
		if i%3 == 1 {
			ph["roles"], ph["pool"] = []string{"chair"}, []object{{"kinds": []string{"basin"}}, {"kinds": []string{"assistant", "stylist"}}}
		}
		phases = append(phases, ph)
		if i > 0 {
			gaps = append(gaps, object{"min": 0, "max": 10, "hold": []string{"chair"}})
		}
	}
	v["phases"], v["gaps"] = phases, gaps
	return v
}

// unitsOf are units of all kinds with bookings every now and then.
func unitsOf(each, bookings, minutes int) []object {
	var out []object
	for _, kind := range []string{"stylist", "assistant", "chair", "basin"} {
		for i := range each {
			booked := make([][2]int, bookings)
			for k := range booked {
				from := k*minutes/bookings + i
				booked[k] = [2]int{from, from + max(1, minutes/bookings/8)}
			}
			out = append(out, object{"id": fmt.Sprint(kind, i), "kind": kind, "open": [][2]int{{0, minutes}}, "bookings": booked, "changeover": i % 3})
		}
	}
	return out
}

const twoYears = 2 * 366 * 1440

// largeProblems are files as long as may be, or as large as may be in another
// way, by command.
func largeProblems(t *testing.T) map[string]map[string][]byte {
	openings := func(units []object) object {
		return object{"schema": "openings/1", "task": "T1", "minutes": twoYears, "premises": [][2]int{{0, twoYears}},
			"units": units, "visit": visitOf(12), "query": object{"from": 0, "to": twoYears, "grid": 1}}
	}
	packing := func(requests, bookings, phases int) object {
		const fortnight = 14 * 1440
		var all []object
		for i := range requests {
			all = append(all, object{"id": fmt.Sprint("request ", i), "visit": "long", "value": 1 + i%50, "from": 0, "to": nil, "grid": 1})
		}
		return object{"schema": "openings/1", "task": "T3", "objective": "max_value", "minutes": fortnight, "premises": [][2]int{{0, fortnight}},
			"units": unitsOf(5, bookings, fortnight), "visits": object{"long": visitOf(phases)}, "requests": all}
	}
	delays := func(pieces, links int) object {
		var all, rules []object
		for i := range pieces {
			all = append(all, object{"id": fmt.Sprint("piece ", i), "minutes": 1, "not_before": i % 100, "closed": [][2]int{{i + 50, i + 60}, {i + 90, i + 95}}})
		}
		for i := range links {
			before := i % (pieces - 1)
			after := before + 1 + i/(pieces-1)*7
			rules = append(rules, object{"before": fmt.Sprint("piece ", before), "after": fmt.Sprint("piece ", min(after, pieces-1)), "min": -i % 50, "max": 2000})
		}
		return object{"schema": "openings/1", "task": "T4", "minutes": twoYears, "now": 0, "pieces": all, "links": rules}
	}
	return map[string]map[string][]byte{
		"openings": {
			"bookings everywhere": longest(t, 20_000, func(n int) object { return openings(unitsOf(5, n, twoYears)) }),
			"nothing booked":      longest(t, 1, func(int) object { return openings(unitsOf(5, 1, twoYears)) }),
			"hundreds of units":   longest(t, 500, func(n int) object { return openings(unitsOf(n/4+1, 30, twoYears)) }),
		},
		"pack": {
			"bookings everywhere": longest(t, 20_000, func(n int) object { return packing(60, n, 16) }),
			"many requests":       longest(t, 1, func(int) object { return packing(60, 100, 16) }),
			"long visits":         longest(t, 1, func(int) object { return packing(10, 20, 100) }),
		},
		"delay": {
			"many pieces": longest(t, 5000, func(n int) object { return delays(max(n, 2), n) }),
			"many links":  longest(t, 20_000, func(n int) object { return delays(500, n) }),
		},
	}
}

func TestTheLargestProblemsAreAnsweredIn64Megabytes(t *testing.T) {
	for command, problems := range largeProblems(t) {
		for name, data := range problems {
			args := []string{command, "--problem", "-"}
			if command == "pack" {
				args = append(args, "--seconds", "2")
			}
			// On a busy machine the collector falls behind and garbage counts as well;
			// what a problem needs is the least of three runs.
			peak := uint64(math.MaxUint64)
			for range 3 {
				var written counter
				var errs bytes.Buffer
				code, began := 0, time.Now()
				used := heapOf(func() { code = run(args, bytes.NewReader(data), &written, &errs) })
				t.Logf("%-8s %-20s %5d kB read, %5d kB written, %2d MB, %v", command, name, len(data)>>10, written>>10, used>>20, time.Since(began).Round(time.Millisecond))
				require.Zero(t, code, "%s: %s: %s", command, name, errs.String())
				if peak = min(peak, used); peak < mostHeap {
					break
				}
			}
			require.Less(t, peak, uint64(mostHeap), "%s: %s", command, name)
		}
	}
}

// counter counts what is written to it.
type counter int

func (c *counter) Write(b []byte) (int, error) {
	*c += counter(len(b))
	return len(b), nil
}
