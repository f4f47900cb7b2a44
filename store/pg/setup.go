package pg

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// wrongPassword is SQLSTATE invalid_password.
const wrongPassword = "28P01"

// setUp makes the role and the database where they are missing, and checks as
// the application that the server is fit.
func (s *Server) setUp(ctx context.Context) error {
	admin, err := s.connect(ctx, s.AdminURL())
	if isState(err, wrongPassword) {
		return fmt.Errorf("%w: %s is not the password of the data in %s", ErrPasswordGone, s.dir.adminPassword(), s.dir)
	}
	if err != nil {
		return err
	}
	defer admin.Close(ctx)
	if err := s.makeRoleAndDatabase(ctx, admin); err != nil {
		return err
	}
	app, err := s.connect(ctx, s.URL())
	if isState(err, wrongPassword) {
		if err = s.setAppPassword(ctx, admin); err == nil {
			app, err = s.connect(ctx, s.URL())
		}
	}
	if err != nil {
		return err
	}
	defer app.Close(ctx)
	f, err := readFacts(ctx, app)
	if err != nil {
		return err
	}
	return f.check(!s.acceptsLoss())
}

// acceptsLoss says whether the caller's settings touch what makes commits last.
func (s *Server) acceptsLoss() bool {
	for _, name := range []string{"fsync", "synchronous_commit", "full_page_writes"} {
		if _, set := s.c.Settings[name]; set {
			return true
		}
	}
	return false
}

// connect connects; a server that was just started may refuse for a moment, ten seconds
// at most (judgement).
func (s *Server) connect(ctx context.Context, url string) (*pgx.Conn, error) {
	deadline := time.Now().Add(10 * time.Second)
	for {
		conn, err := pgx.Connect(ctx, url)
		var fromServer *pgconn.PgError
		starting := isState(err, "57P03") // cannot_connect_now
		if err == nil || time.Now().After(deadline) || (errors.As(err, &fromServer) && !starting) {
			return conn, err
		}
		if err := sleep(ctx, 5*pollTime); err != nil {
			return nil, err
		}
	}
}

func isState(err error, code string) bool {
	var fromServer *pgconn.PgError
	return errors.As(err, &fromServer) && fromServer.Code == code
}

func (s *Server) makeRoleAndDatabase(ctx context.Context, admin *pgx.Conn) error {
	var role, database bool
	err := admin.QueryRow(ctx, `
		SELECT EXISTS (SELECT FROM pg_roles WHERE rolname = $1),
		       EXISTS (SELECT FROM pg_database WHERE datname = $2)`,
		appRole, s.c.Database).Scan(&role, &database)
	if err != nil {
		return err
	}
	if !role {
		_, err := admin.Exec(ctx, `CREATE ROLE `+quote(appRole)+
			` LOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE NOREPLICATION NOBYPASSRLS`)
		if err != nil {
			return err
		}
	}
	if !role || s.newApp {
		if err := s.setAppPassword(ctx, admin); err != nil {
			return err
		}
	}
	if database {
		return nil
	}
	from := ` TEMPLATE template0`
	if s.c.Template != "" {
		from = ` TEMPLATE ` + quote(s.c.Template)
	}
	_, err = admin.Exec(ctx, `CREATE DATABASE `+quote(s.c.Database)+` OWNER `+quote(appRole)+from)
	return err
}

// setAppPassword gives the application's role the password of its file. The
// password is one of rand.Text: letters and digits. The server's log does not
// show statements.
func (s *Server) setAppPassword(ctx context.Context, admin *pgx.Conn) error {
	_, err := admin.Exec(ctx, `ALTER ROLE `+quote(appRole)+` PASSWORD `+literal(s.app))
	return err
}

func quote(name string) string { return pgx.Identifier{name}.Sanitize() }

// literal quotes a text for SQL.
func literal(text string) string {
	b := []byte{'\''}
	for i := range len(text) {
		if text[i] == '\'' {
			b = append(b, '\'')
		}
		b = append(b, text[i])
	}
	return string(append(b, '\''))
}

// facts are what decides whether a server is fit.
type facts struct {
	number                    int // such as 150018
	version, encoding         string
	fsync, commit, wholePages string
	hasGist                   bool
}

// CheckServer looks at the server behind url, whoever runs it: version 15 or
// newer, fsync and full_page_writes on, synchronous_commit not off, text in
// UTF-8, and the extension btree_gist there to be created.
//
// The error is a *[ServerError] that names everything that is wrong,
// [ErrAddress], [ErrNoAnswer], or an error of the connection.
func CheckServer(ctx context.Context, url string) error {
	c, err := pgx.ParseConfig(url)
	if err != nil {
		return fmt.Errorf("pg: check server: %w", ErrAddress)
	}
	conn, err := pgx.ConnectConfig(ctx, c)
	if err != nil {
		return fmt.Errorf("pg: check server: %w", ErrNoAnswer)
	}
	defer conn.Close(context.WithoutCancel(ctx))
	f, err := readFacts(ctx, conn)
	if err == nil {
		err = f.check(true)
	}
	if err != nil {
		return fmt.Errorf("pg: check server: %w", err)
	}
	return nil
}

func readFacts(ctx context.Context, conn *pgx.Conn) (facts, error) {
	var f facts
	err := conn.QueryRow(ctx, `
		SELECT current_setting('server_version_num')::int,
		       current_setting('server_version'),
		       current_setting('server_encoding'),
		       current_setting('fsync'),
		       current_setting('synchronous_commit'),
		       current_setting('full_page_writes'),
		       EXISTS (SELECT FROM pg_available_extensions WHERE name = 'btree_gist')`,
	).Scan(&f.number, &f.version, &f.encoding, &f.fsync, &f.commit, &f.wholePages, &f.hasGist)
	return f, err
}

// check lists the faults; durable says whether settings that lose data are some.
func (f facts) check(durable bool) error {
	var faults []string
	if f.number < MinMajor*10000 {
		faults = append(faults, fmt.Sprintf("its version is %s, needed is %d or newer", f.version, MinMajor))
	}
	if f.encoding != "UTF8" {
		faults = append(faults, fmt.Sprintf("the encoding of the database is %s, needed is UTF8: make the database with ENCODING 'UTF8'", f.encoding))
	}
	if durable && f.fsync != "on" {
		faults = append(faults, "fsync is "+f.fsync+", so a power cut would destroy data: set it to on")
	}
	if durable && f.commit == "off" {
		faults = append(faults, "synchronous_commit is off, so a crash would lose bookings that were confirmed: set it to on")
	}
	if durable && f.wholePages != "on" {
		faults = append(faults, "full_page_writes is "+f.wholePages+", so a power cut would destroy data: set it to on")
	}
	if !f.hasGist {
		faults = append(faults, "the extension btree_gist is not installed: install the package postgresql-contrib of this version")
	}
	if len(faults) > 0 {
		return &ServerError{Faults: faults}
	}
	return nil
}
