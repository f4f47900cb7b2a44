package scheduling_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

func TestAZoneMeansTheSameOnEveryMachine(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"Europe/Lisbon", "America/Argentina/ComodRivadavia", "UTC", "Etc/GMT+5", "EST5EDT", "Zulu"} {
		loc, known := scheduling.ZoneByName(name)
		require.True(t, known, name)
		require.Equal(t, name, loc.String())
	}
	for _, name := range []string{"", "Local", "local", "localtime", "Localtime", "posixrules", "posix/Europe/Lisbon", "Posix/Europe/Lisbon", "right/Europe/Lisbon", "Right/Europe/Lisbon",
		"Factory", "Europe/Atlantis", "../../etc/passwd", "Europe/../Europe/Lisbon", "/Europe/Lisbon"} {
		_, known := scheduling.ZoneByName(name)
		require.False(t, known, name)
	}
}
