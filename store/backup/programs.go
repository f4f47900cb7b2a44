package backup

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"

	"chairblock/store/pg"
)

// ErrNoPrograms means that pg_dump and pg_restore are not on this machine, or too old.
var ErrNoPrograms = fmt.Errorf("backup: pg_dump and pg_restore of PostgreSQL %d or newer were not found; install the client programs (Debian: postgresql-client), of the server's version or newer", pg.MinMajor)

// Programs finds the folder that holds pg_dump and pg_restore, which may be there
// without a server. explicit, when not empty, is the only one that is looked at.
// The error is [ErrNoPrograms], with the places that were looked at.
func Programs(explicit string) (string, error) { return programsOf(explicit, 0) }

// ProgramsFor finds them for the database at address: of its server's major version
// where such ones are there, since what newer ones write back an older server does not
// take. Errors: pg.ErrNoAnswer and those of [Programs].
func ProgramsFor(ctx context.Context, address, explicit string) (string, error) {
	conn, err := connect(ctx, address)
	if err != nil {
		return "", fmt.Errorf("backup: %w", err)
	}
	defer conn.Close(context.WithoutCancel(ctx))
	var version int
	if err := conn.QueryRow(ctx, `SELECT current_setting('server_version_num')::int`).Scan(&version); err != nil {
		return "", fmt.Errorf("backup: version of the server: %w", err)
	}
	return programsOf(explicit, version/10000)
}

func programsOf(explicit string, server int) (string, error) {
	b, err := pg.FindClient(explicit, server)
	if missing, ok := errors.AsType[*pg.NotFoundError](err); ok {
		return "", fmt.Errorf("%w. Places tried:\n  %s", ErrNoPrograms, strings.Join(missing.Tried, "\n  "))
	}
	return b.Dir, err
}

// run runs one of the programs on the database at address. The password goes by
// the environment, since everybody on a machine can read command lines.
func run(ctx context.Context, address, bin, program string, in io.Reader, out io.Writer, args ...string) error {
	env, err := environment(address)
	if err != nil {
		return err
	}
	if program == "pg_restore" {
		args[len(args)-1] += nameOf(env)
	}
	cmd := exec.CommandContext(ctx, filepath.Join(bin, program), args...)
	cmd.Env = env
	var said bytes.Buffer
	cmd.Stdin, cmd.Stdout, cmd.Stderr = in, out, &said
	cmd.Cancel = func() error { return cmd.Process.Signal(syscall.SIGINT) } // it ends its work on the server, too
	// Judgement: a program that has not ended by then is killed.
	cmd.WaitDelay = 5 * time.Second
	if err := cmd.Run(); err != nil {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		return fmt.Errorf("%s: %w: %s", program, err, lastLine(said.String()))
	}
	return nil
}

// environment says by the variables of libpq which database it is.
func environment(address string) ([]string, error) {
	c, err := pgx.ParseConfig(address)
	if err != nil {
		return nil, pg.ErrAddress
	}
	env := []string{"PATH=" + os.Getenv("PATH"), "LC_MESSAGES=C", "PGHOST=" + c.Host, "PGPORT=" + strconv.Itoa(int(c.Port)), "PGUSER=" + c.User,
		"PGPASSWORD=" + c.Password, "PGDATABASE=" + c.Database, "PGOPTIONS=-c statement_timeout=0 -c idle_in_transaction_session_timeout=0"}
	if u, err := url.Parse(address); err == nil {
		for _, name := range []string{"sslmode", "sslrootcert", "sslcert", "sslkey", "channel_binding"} {
			if v := u.Query().Get(name); v != "" {
				env = append(env, "PG"+strings.ReplaceAll(strings.ToUpper(name), "_", "")+"="+v)
			}
		}
	}
	return env, nil
}

func nameOf(env []string) string {
	for _, x := range env {
		if name, ok := strings.CutPrefix(x, "PGDATABASE="); ok {
			return name
		}
	}
	return ""
}

// lastLine is the last thing a program said: the lines before it may quote rows.
func lastLine(said string) string {
	lines := strings.Split(strings.TrimSpace(said), "\n")
	for i := len(lines) - 1; i >= 0; i-- {
		if strings.Contains(lines[i], "error:") {
			return lines[i]
		}
	}
	return lines[len(lines)-1]
}
