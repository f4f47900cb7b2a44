package pages

import (
	"html"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling/chairtime"
)

func TestTheSafetyLineStandsOnlyWhereChemicalsAreUsed(t *testing.T) {
	line := html.EscapeString(chairtime.SafetyLine)
	for _, chemical := range []bool{true, false} {
		est, done := estimated(), booked()
		est.Estimate.Chemical, done.Booked.Chemical = chemical, chemical
		for name, out := range map[string]string{"estimate": string(bookPage(t, est)), "booked": string(bookPage(t, done))} {
			require.Equal(t, chemical, strings.Contains(out, line), name)
		}
	}
}
