package pg

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Binaries are the programs of one PostgreSQL.
type Binaries struct {
	Dir     string // folder that holds them: postgres and initdb, or pg_dump and pg_restore
	Major   int
	Version string // such as "15.18"
	Build   string // all of what the first of them says to --version
}

// What may be looked for; packagers keep the two apart. The first of each says
// which version they are.
var (
	serverPrograms = []string{"postgres", "initdb"}
	clientPrograms = []string{"pg_dump", "pg_restore"}
)

// patterns are where packagers put the programs, below the root folder: Debian;
// RPM packages of the PostgreSQL project; Alpine; SUSE; Gentoo; Homebrew on its
// three prefixes; MacPorts; Postgres.app. From the packages' own file lists or,
// for SUSE, Gentoo, MacPorts and Postgres.app, from memory.
var patterns = []string{
	"usr/lib/postgresql/*/bin",
	"usr/pgsql-*/bin",
	"usr/libexec/postgresql*",
	"usr/lib/postgresql[0-9]*/bin",
	"usr/lib*/postgresql-*/bin",
	"opt/homebrew/opt/postgresql@*/bin",
	"usr/local/opt/postgresql@*/bin",
	"home/linuxbrew/.linuxbrew/opt/postgresql@*/bin",
	"opt/local/lib/postgresql*/bin",
	"Applications/Postgres.app/Contents/Versions/*/bin",
}

// search is where to look for programs. The zero value looks at this machine.
type search struct {
	root string // folder that stands for "/"
	path string // list that stands for PATH, of which npm is also taken
	own  string // folder that Fetch fills, "" for none

	programs []string // what is looked for, nil for serverPrograms
	favoured int      // major version that goes before higher ones, 0 for none
}

// Find finds the programs of PostgreSQL. explicit is the only folder looked at
// when it is not empty; otherwise Find looks at PATH, at what pg_config says and
// at the places that packagers use, and takes the highest version. major is the
// one major version that will do, 0 for any from [MinMajor].
//
// The error is a *[NotFoundError].
func Find(explicit string, major int) (Binaries, error) {
	b, err := search{}.find(explicit, major)
	if err != nil {
		return Binaries{}, fmt.Errorf("pg: find: %w", err)
	}
	return b, nil
}

// FindClient finds the programs that copy databases, as Find does: they may be there
// without a server. server is the major version of the server whose databases they are
// to copy, 0 when it is not known yet: programs of that version go before newer ones,
// from which an older server does not take everything.
//
// The error is a *[NotFoundError].
func FindClient(explicit string, server int) (Binaries, error) {
	b, err := search{programs: clientPrograms, favoured: server}.find(explicit, 0)
	if err != nil {
		return Binaries{}, fmt.Errorf("pg: find client programs: %w", err)
	}
	return b, nil
}

// wanted is what is looked for.
func (s search) wanted() []string {
	if s.programs == nil {
		return serverPrograms
	}
	return s.programs
}

func (s search) find(explicit string, major int) (Binaries, error) {
	missing := &NotFoundError{Major: major}
	var best Binaries
	look := func(label, dir string) {
		b, err := binariesIn(dir, s.wanted())
		switch {
		case err != nil:
			missing.Tried = append(missing.Tried, label+": "+err.Error())
		case b.Major < MinMajor || (major != 0 && b.Major != major):
			missing.Tried = append(missing.Tried, fmt.Sprintf("%s: is version %s", label, b.Version))
		case s.better(b, best):
			best = b
		}
	}
	if explicit != "" {
		look(explicit, explicit)
	} else {
		s.candidates(look, missing)
	}
	if best.Dir == "" {
		return Binaries{}, missing
	}
	return best, nil
}

// candidates calls look for each folder that may hold the programs, and notes
// the places that held none.
func (s search) candidates(look func(label, dir string), missing *NotFoundError) {
	note := func(place string) { missing.Tried = append(missing.Tried, place) }
	first := s.wanted()[0]
	if program := s.onPath(first); program == "" {
		note("PATH: no " + first)
	} else if real, err := filepath.EvalSymlinks(program); err != nil {
		note(program + ": " + err.Error())
	} else {
		look(program, filepath.Dir(real))
	}
	if config := s.onPath("pg_config"); config == "" {
		note("PATH: no pg_config")
	} else if out, err := output(config, "--bindir"); err != nil {
		note("pg_config --bindir: " + err.Error())
	} else {
		look("pg_config --bindir: "+out, out)
	}
	root := s.root
	if root == "" {
		root = "/"
	}
	for _, pattern := range patterns {
		pattern = filepath.Join(root, pattern)
		found, err := filepath.Glob(pattern)
		if err != nil || len(found) == 0 {
			note(pattern)
		}
		for _, dir := range found {
			look(dir, dir)
		}
	}
	if s.own != "" {
		look(s.own, filepath.Join(s.own, "bin"))
	}
}

// onPath is the program of that name on the path, "" when there is none.
func (s search) onPath(name string) string {
	path := s.path
	if path == "" {
		path = os.Getenv("PATH")
	}
	for _, dir := range filepath.SplitList(path) {
		if !filepath.IsAbs(dir) {
			continue // a program of the folder one happens to stand in is not meant
		}
		program := filepath.Join(dir, name)
		if runtime.GOOS == "windows" {
			program += ".exe"
		}
		if executable(program) {
			return program
		}
	}
	return ""
}

func executable(program string) bool {
	info, err := os.Stat(program)
	return err == nil && info.Mode().IsRegular() && (info.Mode()&0o111 != 0 || runtime.GOOS == "windows")
}

// better says whether b is the one to take rather than c.
func (s search) better(b, c Binaries) bool {
	if fits := b.Major == s.favoured; s.favoured != 0 && fits != (c.Major == s.favoured) {
		return fits
	}
	return b.newer(c)
}

// newer says whether b is the better one: a release before a version on trial,
// whose data later versions may not read, then the higher one. The first found
// wins a tie.
func (b Binaries) newer(c Binaries) bool {
	if b.released() != c.released() {
		return b.released()
	}
	return slices.Compare(numbers(b.Version), numbers(c.Version)) > 0
}

// released tells 18.1 from 18beta2, 18rc1 and 19devel.
func (b Binaries) released() bool { return strings.Contains(b.Version, ".") }

// numbers are those in a version.
func numbers(version string) []int {
	var all []int
	for _, field := range strings.FieldsFunc(version, func(r rune) bool { return r < '0' || r > '9' }) {
		n, err := strconv.Atoi(field)
		if err != nil {
			return all
		}
		all = append(all, n)
	}
	return all
}

var versionLine = regexp.MustCompile(`^ \(PostgreSQL\) ((\d+)[^\s]*)`)

// binariesIn looks at the programs of one folder, which has to hold all that are
// named. The first says which version they are.
func binariesIn(dir string, names []string) (Binaries, error) {
	for _, name := range names {
		if !executable(filepath.Join(dir, name)) {
			return Binaries{}, fmt.Errorf("no program %s there", name)
		}
	}
	out, err := output(filepath.Join(dir, names[0]), "--version")
	if err != nil {
		return Binaries{}, fmt.Errorf("%s --version: %w", names[0], err)
	}
	m := versionLine.FindStringSubmatch(strings.TrimPrefix(out, names[0]))
	if m == nil {
		return Binaries{}, fmt.Errorf("%s --version says %q", names[0], out)
	}
	major, err := strconv.Atoi(m[2])
	if err != nil {
		return Binaries{}, fmt.Errorf("%s --version says %q", names[0], out)
	}
	return Binaries{Dir: dir, Major: major, Version: m[1], Build: out}, nil
}

// output runs a program that answers at once and gives what it writes; it is ended after
// ten seconds (judgement).
func output(program string, args ...string) (string, error) {
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	out, err := exec.CommandContext(ctx, program, args...).Output()
	return strings.TrimSpace(string(out)), err
}
