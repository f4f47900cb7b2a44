//go:build unix

package main

import (
	"debug/buildinfo"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestTheProgramListsWhatItIsMadeOf(t *testing.T) {
	t.Parallel()
	path, err := program()
	require.NoError(t, err)
	info, err := buildinfo.ReadFile(path)
	require.NoError(t, err)
	var names []string
	for _, m := range info.Deps {
		require.NotEmpty(t, m.Version, m.Path)
		names = append(names, m.Path)
	}
	for _, name := range []string{"github.com/jackc/pgx/v5", "github.com/alexedwards/argon2id", "github.com/pquerna/otp", "golang.org/x/crypto"} {
		require.Contains(t, names, name)
	}
}
