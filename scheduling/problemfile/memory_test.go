package problemfile_test

import (
	"bytes"
	"fmt"
	"io"
	"runtime"
	"strings"
	"testing"
	"time"

	"chairblock/scheduling/problemfile"

	"github.com/stretchr/testify/require"
)

// longest is how long a file may be.
const longest = 1 << 20

// mostHeap is what reading and answering a file may take.
const mostHeap = 64 << 20

// peakHeap returns how many bytes more than before the heap has held while f
// was at work, looked at every half a millisecond, garbage included.
func peakHeap(f func()) uint64 {
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

// filled repeats part between head and tail until the file is as long as may be.
func filled(head, part, tail string) []byte {
	n := (longest - len(head) - len(tail)) / len(part)
	return []byte(head + strings.Repeat(part, n) + tail)
}

func TestTheLongestFilesAreReadOrRefusedInLittleMemory(t *testing.T) {
	readers := map[string]func(io.Reader) error{
		"T1": func(r io.Reader) error { _, err := problemfile.ReadOpenings(r); return err },
		"T3": func(r io.Reader) error { _, err := problemfile.ReadPacking(r); return err },
		"T4": func(r io.Reader) error { _, err := problemfile.ReadDelays(r); return err },
	}
	for task, read := range readers {
		head := fmt.Sprintf(`{"schema":"openings/1","task":%q,"minutes":1440,`, task)
		for name, data := range map[string][]byte{
			"numbers as windows":  filled(head+`"premises":[`, `0,`, `0]}`),
			"pairs as windows":    filled(head+`"premises":[`, `[0,1],`, `[0,1]]}`),
			"numbers as units":    filled(head+`"units":[`, `0,`, `0]}`),
			"pieces of nothing":   filled(head+`"pieces":[`, `{},`, `{}]}`),
			"empty lists":         filled(head+`"remarks":[`, `[],`, `[]]}`),
			"empty objects":       filled(head+`"remarks":[`, `{},`, `{}]}`),
			"objects of a number": filled(head+`"remarks":[`, `{"a":7000},`, `{}]}`),
			"fractions":           filled(head+`"remarks":[`, `0.5,`, `0]}`),
			"texts":               filled(head+`"remarks":[`, `"a",`, `0]}`),
			"nested lists":        filled(head+`"remarks":[`, strings.Repeat(`[`, 40)+strings.Repeat(`]`, 40)+`,`, `0]}`),
			"one text":            filled(head+`"id":"`, `x`, `"}`),
			"an answer":           filled(head+`"expect":[`, `[],`, `0]}`),
			"blanks":              filled(head+`"id":"a"}`, ` `, ``),
		} {
			require.LessOrEqual(t, len(data), longest)
			var err error
			peak := peakHeap(func() { err = read(bytes.NewReader(data)) })
			t.Logf("%s %-20s %3d MB", task, name, peak>>20)
			require.Less(t, peak, uint64(mostHeap), "%s: %s", task, name)
			require.Error(t, err, "%s: %s", task, name) // none of them asks anything
			require.Less(t, len(err.Error()), 5000)
		}
	}
}
