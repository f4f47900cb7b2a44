package api

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

func TestANumberWithoutItsCountryIsReadInTheSalonsOwn(t *testing.T) {
	for _, tt := range []struct{ own, typed, want string }{
		{"+442079460018", "020 7946 0019", "+442079460019"}, {"+442079460018", "+49 30 901820", "+4930901820"}, {"+4930901820", "030 901821", "+4930901821"},
		{"", "020 7946 0019", ""}, {"+442079460018", "12", ""}, {"+442079460018", "", ""},
	} {
		var f scheduling.Faults
		got := phone(&f, "phone", tt.typed, regionOf(tt.own))
		if tt.want == "" && tt.typed != "" {
			require.Len(t, f, 1, "%s in the country of %s", tt.typed, tt.own)
			continue
		}
		require.Empty(t, f)
		require.Equal(t, tt.want, got)
	}
}
