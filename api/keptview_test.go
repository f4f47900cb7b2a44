package api_test

import (
	"io"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/store"
)

// Who opens a board while another reads its day waits for that, without a connection, and
// has it as the other. They all come before the first can read visits.
func TestADayThatManyOpenAtOnceIsReadOnce(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, _ := s.book(s.client("Mara"), start.Add(25*time.Hour), s.straightening())
	w := s.separate()
	const many = 6 // more than the connections of w
	d := w.desk(store.Desk)
	d.get("/week") // whoever comes is known by now
	lockTx, err := s.db().BeginTx(t.Context(), nil)
	require.NoError(t, err)
	defer func() { _ = lockTx.Rollback() }() // for a test that fails before
	_, err = lockTx.ExecContext(t.Context(), `LOCK TABLE visit`)
	require.NoError(t, err)
	w.spans.Reset()
	var all sync.WaitGroup
	var lock sync.Mutex
	shown := map[string]int{}
	for range many {
		all.Go(func() {
			r, err := d.http.Get(w.http.URL + "/?part=day&date=2026-06-09")
			if err != nil {
				t.Error(err)
				return
			}
			defer r.Body.Close()
			page, err := io.ReadAll(r.Body)
			if err != nil || r.StatusCode != 200 || !strings.Contains(string(page), v.ID) {
				t.Errorf("status %d, %v", r.StatusCode, err)
			}
			lock.Lock()
			defer lock.Unlock()
			shown[string(page)]++
		})
	}
	require.Eventually(t, func() bool { return w.server.WhoWaitForADay() == many }, time.Minute, 5*time.Millisecond)
	require.NoError(t, lockTx.Rollback())
	all.Wait()
	require.Len(t, shown, 1)
	read := 0
	for q, times := range w.asked() {
		if strings.Contains(q, "FROM opening_hours") {
			read += len(times)
		}
	}
	require.Equal(t, 1, read)
	require.Zero(t, w.server.WhoWaitForADay())
}
