package api_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

func TestEveryKindOfMessageHasANameOfItsOwn(t *testing.T) {
	seen := map[string]string{}
	for _, k := range api.MessageKinds() {
		require.NotEmpty(t, k.Words, k.Kind)
		require.NotEmpty(t, k.Name, k.Kind)
		require.Empty(t, seen[k.Name], "%s is called as %s", k.Kind, seen[k.Name])
		require.Equal(t, k.Name, api.KindName(k.Kind))
		seen[k.Name] = k.Kind
	}
	require.Equal(t, "calendar entry", api.KindName("calendar_entry"))
	require.Equal(t, "under way", api.StateWords("under_way"))
	require.Equal(t, "cancelled", api.StateWords("cancelled"))
	require.Equal(t, "Begin", api.TapWords("begin"))
}
