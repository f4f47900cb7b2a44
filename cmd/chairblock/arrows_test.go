package main

import (
	"encoding/json"
	"errors"
	"io"
	"os/exec"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// module is the first element of every import path of ours.
const module = "chairblock"

// arrows says which of our packages each of our packages may import. A package
// that is missing here fails the test: a new one has to find its place first.
var arrows = map[string][]string{
	"cmd/chairblock": {"api", "api/notify", "api/outbound", "api/web", "api/web/board", "api/web/desk", "api/web/owner", "api/web/signin", "api/web/stylist",
		"scheduling", "scheduling/chairtime", "scheduling/delays", "scheduling/openings", "scheduling/pace", "scheduling/packing", "scheduling/problemfile", "store", "store/backup", "store/pg"},
	"api": {"api/ics", "api/ics/read", "api/metrics", "api/notify", "api/outbound", "api/pages", "api/passwords", "scheduling", "scheduling/card", "scheduling/chairtime", "scheduling/delays", "scheduling/needs", "scheduling/openings",
		"scheduling/pace", "scheduling/packing", "scheduling/products", "scheduling/quoting", "scheduling/ranking", "scheduling/screening", "store"},
	"api/web":              {"api", "api/pages"},
	"api/web/board":        {"api", "api/pages", "api/web"},
	"api/web/desk":         {"api", "api/pages", "api/web", "scheduling", "scheduling/quoting"},
	"api/web/client":       {}, // part of tests only
	"api/web/stylist":      {"api", "api/pages", "api/web", "scheduling", "scheduling/quoting"},
	"api/web/owner":        {"api", "api/pages", "api/web", "scheduling", "scheduling/quoting"},
	"api/web/signin":       {"api", "api/pages", "api/web", "scheduling"},
	"api/web/allpages":     {},                                                                                            // tests only
	"api/web/booktest":     {},                                                                                            // tests only
	"api/web/webtest":      {"api", "api/outbound", "api/passwords", "api/web", "scheduling", "store", "store/storetest"}, // part of tests only
	"api/chromium":         {},                                                                                            // part of tests only
	"api/ics":              {"scheduling"},
	"api/ics/read":         {"scheduling"},
	"api/metrics":          {},
	"api/notify":           {"api/outbound", "scheduling"},
	"api/outbound":         {},
	"api/passwords":        {"scheduling"},
	"api/pages":            {"scheduling", "scheduling/chairtime"},
	"store":                {"migrations", "scheduling", "scheduling/openings", "scheduling/pace", "scheduling/screening"},
	"store/backup":         {"store/pg"},
	"store/pg":             {},
	"store/storetest":      {"store/pg"},
	"migrations":           {},
	"scheduling":           {},
	"scheduling/chairtime": {"scheduling"},
	"scheduling/card":      {"scheduling", "scheduling/chairtime"},
	"scheduling/openings":  {"scheduling", "scheduling/timeline"},
	"scheduling/packing":   {"scheduling", "scheduling/openings"},
	"scheduling/ranking":   {"scheduling", "scheduling/openings"},
	"scheduling/delays":    {"scheduling", "scheduling/openings", "scheduling/packing"},
	// reads problem files of every task
	"scheduling/problemfile": {"scheduling", "scheduling/delays", "scheduling/openings", "scheduling/packing"},
	"scheduling/needs":       {"scheduling"},
	"scheduling/pace":        {"scheduling", "scheduling/chairtime"},
	"scheduling/products":    {"scheduling"},
	"scheduling/quoting":     {"scheduling"},
	"scheduling/screening":   {"scheduling"},
	"scheduling/timeline":    {},
}

// testArrows says what the tests of a package may import beside the package
// itself and what it imports.
var testArrows = map[string][]string{
	"cmd/chairblock": {"api/chromium", "migrations", "store/storetest"},
	// pages show the day although it cannot be foreseen, which only api can make so
	"api": {"api/web/board", "api/web/desk", "api/web/webtest", "migrations", "store/storetest"},
	"api/web/allpages": {"api", "api/passwords", "api/web", "api/web/board", "api/web/desk", "api/web/owner", "api/web/signin", "api/web/stylist", "api/chromium", "api/web/webtest",
		"migrations", "store", "store/storetest"},
	"api/web/booktest": {"api", "api/web/board", "api/web/desk", "api/web/signin", "api/chromium", "api/web/webtest", "migrations", "store", "store/storetest"},
	"api/web/webtest":  {"api/chromium", "migrations"},
	"api/web/board":    {"api/web/desk", "api/chromium", "api/web/webtest", "migrations", "store", "store/storetest"},
	"api/web/desk":     {"api/chromium", "api/web/webtest", "migrations", "store", "store/storetest"},
	"api/web/client":   {"api", "api/chromium", "api/web/webtest", "migrations", "store", "store/storetest"},
	// its script counts as the core does
	"api/web/stylist": {"api/chromium", "api/web/signin", "api/web/webtest", "migrations", "scheduling/card", "store", "store/storetest"},
	"api/web/owner":   {"api/chromium", "api/web/webtest", "migrations", "store", "store/storetest"},
	"api/web/signin":  {"api/notify", "api/passwords", "api/chromium", "api/web/webtest", "migrations", "store", "store/storetest"},
	"api/pages":       {"api/chromium"},
	// what we write, we must be able to read
	"api/ics/read": {"api/ics"},
	"store":        {"scheduling/problemfile", "store/pg", "store/storetest"},
	"store/backup": {"migrations", "store", "store/storetest"},
	// tests of the core ask problems of published files
	"scheduling/openings": {"scheduling/problemfile"},
	"scheduling/packing":  {"scheduling/problemfile"},
	"scheduling/delays":   {"scheduling/problemfile"},
	"scheduling/ranking":  {"scheduling/problemfile"},
}

// fences says which of our packages, with those below them, may import a
// library and what lies under it.
var fences = []struct {
	library string
	inside  string
	why     string
}{
	{"github.com/danielgtaylor/huma/v2", "api", "leaving it must cost wire types, not logic"},
	{"github.com/labstack/echo/v4", "api", "requests end at the border"},
	{"github.com/jackc/pgx/v5", "store", "SQL stands beside its scan"},
	{"github.com/riverqueue/river", "store", "a job is written in the transaction of its cause"},
	{"github.com/emersion/go-ical", "api/ics", "calendar syntax is one package's business"},
	{"rsc.io/qr", "api/pages", "what is drawn is one package's business"},
	{"github.com/prometheus/client_golang", "api/metrics", "one package knows how numbers are given out"},
	{"github.com/wneessen/go-mail", "api/notify", "mail syntax is one package's business"},
	{"github.com/emersion/go-message", "api", "mails end at the border"},
	{"github.com/alexedwards/argon2id", "api/passwords", "one package knows what a hash costs"},
	{"github.com/pquerna/otp", "api/passwords", "one package knows how codes are made"},
	{"github.com/alexedwards/scs/v2", "api", "browsers end at the border"},
	{"github.com/alecthomas/kong", "cmd", "flags end at the command line"},
}

// impure are packages of the standard library that the core does without: it
// gets values and gives values.
var impure = []string{"database/sql", "log/slog", "net", "net/http", "os", "os/exec"}

// listed is what go list says of one package.
type listed struct {
	ImportPath   string
	Standard     bool
	Imports      []string
	TestImports  []string
	XTestImports []string
}

// goList lists the packages that match patterns.
func goList(t *testing.T, args ...string) []listed {
	t.Helper()
	cmd := exec.Command("go", append([]string{"list", "-json=ImportPath,Standard,Imports,TestImports,XTestImports"}, args...)...)
	var errs strings.Builder
	cmd.Stderr = &errs
	out, err := cmd.Output()
	require.NoError(t, err, errs.String())
	var list []listed
	for d := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p listed
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			return list
		} else {
			require.NoError(t, err)
		}
		list = append(list, p)
	}
}

// ours is the path inside the module, and whether path is in it.
func ours(path string) (string, bool) {
	return strings.CutPrefix(path, module+"/")
}

// under reports whether path is that of parent or below it.
func under(path, parent string) bool {
	return path == parent || strings.HasPrefix(path, parent+"/")
}

// checkArrow names what is wrong with from importing to, "" when nothing is.
func checkArrow(from, to string, allowed []string) string {
	if name, is := ours(to); is && !slices.Contains(allowed, name) {
		return from + " imports " + name + ", which none of its arrows points at"
	}
	for _, f := range fences {
		if under(to, f.library) && !under(from, f.inside) {
			return from + " imports " + to + ", which only " + f.inside + " may: " + f.why
		}
	}
	return ""
}

func TestImportsFollowTheArrows(t *testing.T) {
	packages := goList(t, module+"/...")
	require.NotEmpty(t, packages)
	for _, p := range packages {
		from, _ := ours(p.ImportPath)
		allowed, known := arrows[from]
		require.True(t, known, "%s is new: say in arrows what it may import", from)
		for _, to := range p.Imports {
			require.Empty(t, checkArrow(from, to, allowed))
		}
		allowed = append(append(slices.Clone(allowed), testArrows[from]...), from)
		for _, to := range append(p.TestImports, p.XTestImports...) {
			if from == "api" && under(to, "github.com/jackc/pgx/v5") {
				continue // the load model fills a database and reads its plans as no method of the store should
			}
			require.Empty(t, checkArrow(from, to, allowed), "in a test")
		}
	}
}

func TestTheCoreIsPure(t *testing.T) {
	for _, p := range goList(t, "-deps", module+"/scheduling/...") {
		own := under(p.ImportPath, module+"/scheduling")
		require.True(t, own || p.Standard || under(p.ImportPath, "github.com/rickb777"),
			"scheduling needs %s; it may need the standard library and rickb777's dates only", p.ImportPath)
		for _, to := range p.Imports {
			require.False(t, own && slices.Contains(impure, to), "%s imports %s", p.ImportPath, to)
		}
	}
}

func TestABrokenArrowIsNamed(t *testing.T) {
	for _, tt := range []struct {
		name     string
		from, to string
		broken   bool
	}{
		{"down one step", "api", "chairblock/store", false},
		{"up", "store", "chairblock/api", true},
		{"down past the store", "cmd/chairblock", "chairblock/store/pg", false},
		{"the core to the store", "scheduling", "chairblock/store", true},
		{"chair time to the openings", "scheduling/chairtime", "chairblock/scheduling/openings", true},
		{"a page to the store", "api/pages", "chairblock/store", true},
		{"the service to the databases of tests", "api", "chairblock/store/storetest", true},
		{"the API library where it belongs", "api", "github.com/danielgtaylor/huma/v2", false},
		{"the API library's adapter elsewhere", "store", "github.com/danielgtaylor/huma/v2/adapters/humaecho", true},
		{"a database driver in a page", "api/pages", "github.com/jackc/pgx/v5/pgxpool", true},
		{"a library that only begins alike", "cmd/chairblock", "github.com/jackc/pgx/v5beta", false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			require.Equal(t, tt.broken, checkArrow(tt.from, tt.to, arrows[tt.from]) != "")
		})
	}
}
