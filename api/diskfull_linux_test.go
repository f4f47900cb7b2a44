package api_test

import (
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store/storetest"
)

// TestAFullDiskLosesNothingThatWasAnswered fills the disk under the database while
// clients are added, and empties it again.
func TestAFullDiskLosesNothingThatWasAnswered(t *testing.T) {
	t.Parallel()
	disk := filepath.Join(t.TempDir(), "disk")
	require.NoError(t, os.Mkdir(disk, 0o755))
	if err := syscall.Mount("tmpfs", disk, "tmpfs", 0, "size=160m,mode=755"); err != nil {
		t.Skipf("SKIPPED: no small disk can be mounted here (%v), so that none is filled", err)
	}
	t.Cleanup(func() { require.NoError(t, syscall.Unmount(disk, syscall.MNT_DETACH)) })
	server := storetest.RealOn(t, disk, map[string]string{"min_wal_size": "32MB", "max_wal_size": "64MB"})
	s := serve(t, server.URL())
	s.open("Europe/Berlin")

	filler, err := os.Create(filepath.Join(disk, "filler"))
	require.NoError(t, err)
	defer filler.Close()
	fill := func() {
		for size := 1 << 20; size >= 512; size /= 2 {
			for {
				if _, err := filler.Write(make([]byte, size)); err != nil {
					require.ErrorIs(t, err, syscall.ENOSPC)
					break
				}
			}
		}
	}
	words := make([]byte, 490)
	for i := range words {
		words[i] = byte('a' + i*i%23)
	}
	promised := map[string]string{}
	refused, unread := 0, 0
	add := func(i int) int {
		name := fmt.Sprint("Juna ", i)
		a, err := s.try("POST", "/v1/clients", object{"given_name": name, "note": string(words)}, "Idempotency-Key", name)
		require.NoError(t, err)
		require.Contains(t, []int{201, 503}, a.status, "%s", a.body)
		if a.status == 201 {
			var c api.ClientBody
			a.is(201, &c)
			promised[c.ID] = name
		} else {
			refused++
			require.NotEmpty(t, a.header.Get("Retry-After"))
		}
		return a.status
	}
	require.Equal(t, 201, add(0))
	fill()
	for i := 1; refused < 5; i++ {
		require.Less(t, i, 5000, "the disk never gets full")
		add(i)
		if a := s.call("GET", "/v1/salon", nil); a.status != 200 {
			unread++
			a.refused(503, "unavailable") // while the database starts again
		}
	}
	require.NoError(t, filler.Truncate(0))
	_, err = filler.Seek(0, 0)
	require.NoError(t, err)
	require.Eventually(t, func() bool { return add(9999) == 201 }, 60*time.Second, 100*time.Millisecond, "writing goes on once there is room")
	t.Logf("%d promised, %d refused, %d not read meanwhile", len(promised), refused, unread)
	for id, name := range promised {
		var c api.ClientBody
		s.call("GET", "/v1/clients/"+id, nil).is(200, &c)
		require.Equal(t, name, c.GivenName)
	}
}
