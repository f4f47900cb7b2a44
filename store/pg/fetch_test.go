//go:build unix

package pg_test

import (
	"context"
	"crypto/sha512"
	"encoding/base64"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/store/pg"
)

// programsOf are the files of a package whose programs say that they are a version.
func programsOf(postgres string) map[string]string {
	return map[string]string{
		"package/native/bin/postgres": "#!/bin/sh\n" + postgres + "\n",
		"package/native/bin/initdb":   "#!/bin/sh\n",
		"package/LICENSE.md":          "terms",
	}
}

// npmThat makes a PATH with nothing but an npm that carries out commands of a shell.
func npmThat(t *testing.T, does string) string {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "npm"), []byte("#!/bin/sh\n"+does+"\n"), 0o755))
	return dir
}

func sumOf(t *testing.T, file string) string {
	t.Helper()
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	sum := sha512.Sum512(text)
	return base64.StdEncoding.EncodeToString(sum[:])
}

func TestWhatNpmBringsIsUsedWhenItIsTheWantedFileAndRuns(t *testing.T) {
	// Not beside others: a program that is being written cannot be started, and whoever
	// forks meanwhile has it open for a moment.
	file := pack(t, programsOf("echo 'postgres (PostgreSQL) 18.4'"))
	elsewhere := pack(t, programsOf("echo 'wrong kind of machine' >&2; exit 126"))
	wanted, brings := sumOf(t, file), "/bin/cp '"+file+"' programs.tgz"
	for _, tt := range []struct {
		name, npm, system, sum string
		says                   string // of the error, "" for none
	}{
		{"the wanted file", brings, "here", wanted, ""},
		{"another file", brings, "here", sumOf(t, elsewhere), "it was not used"},
		{"half of it", "/usr/bin/head -c 200 '" + file + "' > programs.tgz", "here", wanted, "it was not used"},
		{"no network", "echo 'npm error network request failed'; exit 1", "here", wanted, "network request failed"},
		{"nothing at all", "exit 0", "here", wanted, "left 0 files instead of one"},
		{"two files", brings + "; " + brings + ".tgz", "here", wanted, "left 2 files instead of one"},
		{"programs that do not run here", "/bin/cp '" + elsewhere + "' programs.tgz", "here", sumOf(t, elsewhere), "does not run here"},
		{"a system that nobody packs for", brings, "plan9/mips", wanted, "has no package for plan9/mips"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			dir := t.TempDir()
			b, err := pg.FetchWith(t.Context(), npmThat(t, tt.npm), dir, tt.system, tt.sum)
			left, globErr := filepath.Glob(filepath.Join(dir, "*"))
			require.NoError(t, globErr)
			if tt.says != "" {
				require.ErrorContains(t, err, tt.says)
				require.Empty(t, left, "nothing of it is kept")
				return
			}
			require.NoError(t, err)
			require.Equal(t, "18.4", b.Version)
			require.Equal(t, []string{filepath.Join(dir, pg.FetchedName)}, left)
			require.FileExists(t, filepath.Join(dir, pg.FetchedName, "LICENSE.md"))
			again, err := pg.FetchWith(t.Context(), t.TempDir(), dir, tt.system, "")
			require.NoError(t, err, "npm is not asked again")
			require.Equal(t, b, again)
		})
	}
}

func TestWithoutNpmOrTimeNothingIsFetched(t *testing.T) {
	_, err := pg.FetchWith(t.Context(), t.TempDir(), t.TempDir(), "here", "")
	require.ErrorContains(t, err, "is not installed")

	given, cancel := context.WithCancel(t.Context())
	cancel()
	dir := t.TempDir()
	_, err = pg.FetchWith(given, npmThat(t, "exit 0"), dir, "here", "")
	require.ErrorIs(t, err, context.Canceled)
	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Empty(t, left)
}

func TestWhatAKilledProcessWasFetchingIsRemovedLater(t *testing.T) {
	dir := t.TempDir()
	old, young := filepath.Join(dir, "postgres-bin.new-1"), filepath.Join(dir, "postgres-bin.new-2")
	for _, d := range []string{old, young} {
		require.NoError(t, os.Mkdir(d, 0o755))
	}
	past := time.Now().Add(-time.Hour)
	require.NoError(t, os.Chtimes(old, past, past))
	_, err := pg.FetchWith(t.Context(), npmThat(t, "exit 1"), dir, "here", "")
	require.Error(t, err)
	require.NoDirExists(t, old)
	require.DirExists(t, young, "somebody may be at it")
}

func TestEverySystemHasASumOfItsOwn(t *testing.T) {
	t.Parallel()
	seen := map[string]string{}
	for system, sum := range pg.FetchPackages() {
		raw, err := base64.StdEncoding.DecodeString(sum)
		require.NoError(t, err, system)
		require.Len(t, raw, sha512.Size, system)
		require.Empty(t, seen[sum], system)
		seen[sum] = system
	}
	require.Len(t, seen, 4)
}
