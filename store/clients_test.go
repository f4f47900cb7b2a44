package store_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/store"
)

func TestInitialsAreLettersOfAName(t *testing.T) {
	for _, tt := range []struct{ given, family, want string }{
		{"Anna", "Kay", "A. K."}, {"anna", "", "A."}, {"Ana María", "del Río", "A. R."}, {"  Zoë ", " Ångström ", "Z. Å."},
		{"", "", ""}, {"07700", "900123", ""}, {"(Bea)", "'Quinn'", "B. Q."}, {"bea 2", "quinn", "B. Q."}, {"王", "小明", "王. 小."},
		{"4ever", "Young", "E. Y."}, {"\xff\xfe", "", ""},
	} {
		require.Equal(t, tt.want, store.Client{GivenName: tt.given, FamilyName: tt.family}.Initials())
	}
}
