package ics

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

func busyWeek() FreeBusy {
	day := func(n, hour, minute int) time.Time { return london(thursday, hour, minute).AddDate(0, 0, n) }
	return FreeBusy{Name: "Noor", UID: "ada-free-busy", Stamp: revised, Start: day(0, 0, 0), End: day(60, 0, 0), Busy: []Period{
		{day(0, 0, 0), day(0, 9, 0), true}, {day(0, 9, 0), day(0, 10, 30), false}, {day(0, 12, 0), day(0, 12, 30), true},
		{day(0, 17, 0), day(1, 9, 0), true}, {day(20, 9, 0), day(60, 0, 0), true},
	}}
}

func TestFreeBusyTime(t *testing.T) {
	out, err := busyWeek().Encode()
	require.NoError(t, err)
	golden(t, "freebusy.ics", out)
	requireLines(t, out)
	require.NotContains(t, string(out), "METHOD")
	require.NotContains(t, string(out), "TZID")
}

func TestNobodyIsBusyAllTheTime(t *testing.T) {
	b := busyWeek()
	b.Busy = nil
	out, err := b.Encode()
	require.NoError(t, err)
	require.Equal(t, byLibrary(t, out), string(out))
	require.NotContains(t, string(out), "FREEBUSY;")
}

func TestBadFreeBusyTimesAreRefusedByName(t *testing.T) {
	for field, spoil := range map[string]func(*FreeBusy){
		"name":          func(b *FreeBusy) { b.Name = "\x00" },
		"uid":           func(b *FreeBusy) { b.UID = "" },
		"stamp":         func(b *FreeBusy) { b.Stamp = time.Time{} },
		"end":           func(b *FreeBusy) { b.End, b.Busy = b.Start, nil },
		"busy[0].start": func(b *FreeBusy) { b.Busy[0].Start = b.Start.Add(-time.Second) },
		"busy[1].start": func(b *FreeBusy) { b.Busy[1].Start = b.Busy[0].End.Add(-time.Second) },
		"busy[2].end":   func(b *FreeBusy) { b.Busy[2].End = b.Busy[2].Start },
		"busy[4].end":   func(b *FreeBusy) { b.Busy[4].End = b.End.Add(time.Second) },
	} {
		b := busyWeek()
		spoil(&b)
		_, err := b.Encode()
		faults, ok := errors.AsType[scheduling.Faults](err)
		require.True(t, ok, field)
		require.Equal(t, field, faults[0].Field)
	}
}

const freeBusyWithPython = `
import json, sys, datetime as dt
import icalendar
cal = icalendar.Calendar.from_ical(sys.stdin.buffer.read())
fb, = cal.walk("VFREEBUSY")
if fb.errors: sys.exit(str(fb.errors))
z = lambda v: v.astimezone(dt.timezone.utc).strftime("%Y-%m-%dT%H:%M:%SZ")
rows = fb["FREEBUSY"]
rows = rows if isinstance(rows, list) else [rows]
json.dump([z(fb["DTSTART"].dt), z(fb["DTEND"].dt)] + [[r.params["FBTYPE"], z(r.start), z(r.end)] for r in rows], sys.stdout)
`

func TestPythonReadsFreeBusyTime(t *testing.T) {
	b := busyWeek()
	out, err := b.Encode()
	require.NoError(t, err)
	cmd := exec.Command(python(t), "-c", freeBusyWithPython)
	cmd.Stdin, cmd.Stderr = bytes.NewReader(out), os.Stderr
	read, err := cmd.Output()
	require.NoError(t, err)
	z := func(t time.Time) string { return t.UTC().Format(time.RFC3339) }
	want := []any{z(b.Start), z(b.End)}
	for _, p := range b.Busy {
		want = append(want, []string{map[bool]string{false: "BUSY", true: "BUSY-UNAVAILABLE"}[p.Unavailable], z(p.Start), z(p.End)})
	}
	text, err := json.Marshal(want)
	require.NoError(t, err)
	require.JSONEq(t, string(text), string(read))
	require.Equal(t, len(b.Busy), strings.Count(string(out), "\r\nFREEBUSY;FBTYPE=BUSY"), "one property for each period")
}
