package storetest

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"net/url"
	"os"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"chairblock/store/pg"
)

// givenServer names the variable with the address of a server to use.
const givenServer = "TEST_DATABASE_URL"

// makers is how many databases are made at a time (judgement). On two cores more did not
// make them faster.
const makers = 4

// template is the name of the migrated database in a cluster of our own.
const template = "chairblock_template"

// fast are the settings of the throwaway server: it may lose everything.
var fast = map[string]string{
	"fsync":              "off",
	"synchronous_commit": "off",
	"full_page_writes":   "off",
	"autovacuum":         "off",
	"wal_level":          "minimal",
	"max_wal_senders":    "0",
	"max_wal_size":       "128MB",
	"max_connections":    "200",
}

// server makes databases from a template.
type server struct {
	admin    *pgxpool.Pool // as many connections as databases are made at a time
	template string
	owner    string                       // role that owns the databases
	address  func(database string) string // for the owner
	prefix   string                       // of the databases' names
}

func (s *suite) openServer() (*server, error) {
	ctx := context.Background()
	if given := os.Getenv(givenServer); given != "" {
		return s.openGiven(ctx, given)
	}
	m, err := s.machine()
	if err != nil {
		return nil, err
	}
	dir, err := m.cluster(ctx, m.fastRun, "fast")
	if err != nil {
		return nil, err
	}
	private, err := pg.Start(ctx, pg.Config{
		Dir: dir, BinDir: m.programs.Dir, Database: "postgres", Settings: fast, EndWithParent: true,
	})
	if err != nil {
		return nil, err
	}
	s.onClose(private.Stop)
	admin, err := s.openPool(ctx, private.AdminURL())
	if err != nil {
		return nil, err
	}
	app, err := url.Parse(private.URL())
	if err != nil {
		return nil, err
	}
	return &server{
		admin: admin, template: template, owner: app.User.Username(), prefix: "test_",
		address: func(database string) string { return inDatabase(app, database) },
	}, nil
}

// openPool opens the connections that make databases.
func (s *suite) openPool(ctx context.Context, address string) (*pgxpool.Pool, error) {
	c, err := pgxpool.ParseConfig(address)
	if err != nil {
		return nil, err
	}
	c.MaxConns = makers
	c.MinConns = 0
	pool, err := pgxpool.NewWithConfig(ctx, c)
	if err != nil {
		return nil, err
	}
	s.onClose(func() error { pool.Close(); return nil })
	return pool, pool.Ping(ctx)
}

// makeDatabase copies another one's files, which is faster than writing all of
// it to the log, the usual way.
func (s *server) makeDatabase(ctx context.Context, name, of string) error {
	_, err := s.admin.Exec(ctx, "CREATE DATABASE "+quote(name)+" TEMPLATE "+quote(of)+
		" OWNER "+quote(s.owner)+" STRATEGY file_copy")
	if err != nil {
		return fmt.Errorf("making a database: %w", err)
	}
	return nil
}

// dropDatabase drops a database, also when somebody is still connected.
func (s *server) dropDatabase(ctx context.Context, name string) error {
	_, err := s.admin.Exec(ctx, "DROP DATABASE IF EXISTS "+quote(name)+" WITH (FORCE)")
	if err != nil {
		return fmt.Errorf("dropping a database: %w", err)
	}
	return nil
}

// openGiven uses a server that somebody else runs. The template stays there for
// the next process.
func (s *suite) openGiven(ctx context.Context, given string) (*server, error) {
	admin, err := s.openPool(ctx, given)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", givenServer, err)
	}
	address, err := url.Parse(given)
	if err != nil || address.Scheme == "" {
		return nil, fmt.Errorf("%s must be an address such as postgres://user@host/database", givenServer)
	}
	g := &server{admin: admin, prefix: "test_" + strings.ToLower(rand.Text()[:8]) + "_"}
	// Another role on the same server cannot copy this role's template.
	key := digest(s.hash, layout, address.User.Username())
	g.template = template + "_" + key
	if err := g.chooseOwner(ctx, address, key); err != nil {
		return nil, fmt.Errorf("%s: %w", givenServer, err)
	}
	if err := g.makeTemplate(ctx, s.migrate); err != nil {
		return nil, fmt.Errorf("%s: %w", givenServer, err)
	}
	return g, nil
}

// givenLock is the advisory lock under which role and template are made: the
// first bytes of the SHA-256 of the package's name.
const givenLock = 0x2f1c6c1d

// chooseOwner uses a role without rights when the given role can make one, and
// otherwise the given role.
func (s *server) chooseOwner(ctx context.Context, given *url.URL, key string) error {
	var name string
	var super, makesDatabases bool
	err := s.admin.QueryRow(ctx, `SELECT rolname, rolsuper, rolcreatedb FROM pg_roles WHERE rolname = current_user`).
		Scan(&name, &super, &makesDatabases)
	if err != nil {
		return err
	}
	if !super && !makesDatabases {
		return fmt.Errorf("role %s may not make databases: ALTER ROLE %s CREATEDB", name, quote(name))
	}
	app := *given
	s.owner = name
	if super {
		s.owner = "chairblock_test_" + key
		secret, _ := given.User.Password()
		// The same in each process that knows the given password.
		password := digest("password of the test role", secret, key)
		app.User = url.UserPassword(s.owner, password)
		err := s.locked(ctx, func(c *pgx.Conn) error {
			var there bool
			err := c.QueryRow(ctx, `SELECT EXISTS (SELECT FROM pg_roles WHERE rolname = $1)`, s.owner).Scan(&there)
			if err != nil || there {
				return err
			}
			_, err = c.Exec(ctx, "CREATE ROLE "+quote(s.owner)+" LOGIN PASSWORD '"+password+"'")
			return err
		})
		if err != nil {
			return err
		}
	}
	s.address = func(database string) string { return inDatabase(&app, database) }
	return nil
}

// makeTemplate makes the migrated database under another name and renames it
// when it is whole.
func (s *server) makeTemplate(ctx context.Context, migrate func(context.Context, string) error) error {
	return s.locked(ctx, func(c *pgx.Conn) error {
		var there bool
		err := c.QueryRow(ctx, `SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1)`, s.template).Scan(&there)
		if err != nil || there {
			return err
		}
		fresh := s.template + "_new"
		for _, q := range []string{
			"DROP DATABASE IF EXISTS " + quote(fresh),
			"CREATE DATABASE " + quote(fresh) + " OWNER " + quote(s.owner) + " TEMPLATE template0 ENCODING 'UTF8'",
		} {
			if _, err := c.Exec(ctx, q); err != nil {
				return err
			}
		}
		if err := migrate(ctx, s.address(fresh)); err != nil {
			return fmt.Errorf("migrating the template: %w", err)
		}
		if err := seal(ctx, c, fresh); err != nil {
			return err
		}
		_, err = c.Exec(ctx, "ALTER DATABASE "+quote(fresh)+" RENAME TO "+quote(s.template))
		return err
	})
}

// seal closes a migrated database: a connection to it would hold up each copy.
func seal(ctx context.Context, c *pgx.Conn, database string) error {
	_, err := c.Exec(ctx, "ALTER DATABASE "+quote(database)+" ALLOW_CONNECTIONS false")
	if err != nil {
		return err
	}
	// What migrate left behind, such as a pool that is closing.
	_, err = c.Exec(ctx, `SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity WHERE datname = $1`, database)
	return err
}

// locked runs f while no other process on the given server is in locked.
func (s *server) locked(ctx context.Context, f func(*pgx.Conn) error) error {
	held, err := s.admin.Acquire(ctx)
	if err != nil {
		return err
	}
	defer held.Release()
	c := held.Conn()
	if _, err := c.Exec(ctx, "SELECT pg_advisory_lock($1)", givenLock); err != nil {
		return err
	}
	err = f(c)
	_, unlockErr := c.Exec(ctx, "SELECT pg_advisory_unlock($1)", givenLock)
	return errors.Join(err, unlockErr)
}

// inDatabase is the same address with another database.
func inDatabase(address *url.URL, database string) string {
	u := *address
	u.Path = "/" + database
	return u.String()
}

func quote(name string) string { return pgx.Identifier{name}.Sanitize() }

// digest is a short name for the texts: 64 bits of their SHA-256.
func digest(texts ...string) string {
	h := sha256.New()
	for _, text := range texts {
		fmt.Fprintf(h, "%d %s\n", len(text), text)
	}
	return hex.EncodeToString(h.Sum(nil)[:8])
}
