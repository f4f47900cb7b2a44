package ics

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

func removed() Removal {
	v := invited()
	return Removal{UID: v.UID, Sequence: 2, Organizer: v.Organizer, Attendee: v.Attendee, Written: v.Written}
}

// RFC 5546 section 3.2.5: STATUS stands in a CANCEL of the whole event and not in
// one that goes to somebody who is not invited any more.
func TestARemovalSaysWhichEntryAndNothingElse(t *testing.T) {
	for _, over := range []bool{false, true} {
		r := removed()
		r.Over = over
		out, err := r.Encode()
		require.NoError(t, err)
		var names []string
		for _, line := range unfolded(string(out)) {
			name, _, _ := strings.Cut(line, ":")
			name, _, _ = strings.Cut(name, ";")
			names = append(names, name)
		}
		want := []string{"BEGIN", "METHOD", "PRODID", "VERSION", "BEGIN", "ATTENDEE", "DTSTAMP", "ORGANIZER", "SEQUENCE", "UID", "END", "END"}
		if over {
			want = append(want, "STATUS")
		}
		require.ElementsMatch(t, want, names)
		for _, line := range []string{"METHOD:CANCEL", "SEQUENCE:2", "UID:" + r.UID, fmt.Sprint("DTSTAMP:", instant(r.Written))} {
			require.Contains(t, unfolded(string(out)), line)
		}
		require.NotContains(t, string(out), "PARTSTAT")
	}
}

func TestBadRemovalsAreRefusedByName(t *testing.T) {
	for field, spoil := range map[string]func(*Removal){
		"uid":            func(r *Removal) { r.UID = "" },
		"sequence":       func(r *Removal) { r.Sequence = 0 },
		"written":        func(r *Removal) { r.Written = r.Written.AddDate(-3000, 0, 0) },
		"organizer.mail": func(r *Removal) { r.Organizer.Mail = "desk" },
		"attendee.mail":  func(r *Removal) { r.Attendee.Mail = "a@x.example\r\nX:y" },
	} {
		r := removed()
		spoil(&r)
		_, err := r.Encode()
		faults, ok := errors.AsType[scheduling.Faults](err)
		require.True(t, ok, "%s: %v", field, err)
		require.Len(t, faults, 1)
		require.Equal(t, field, faults[0].Field)
	}
}
