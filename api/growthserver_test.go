package api_test

import (
	"bufio"
	"cmp"
	"context"
	"crypto/sha256"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"runtime/pprof"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/labstack/echo/v4"
	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// serveVariable holds the address of a database when the program of these tests is
// started as a server over it, so that what is measured has a process of its own.
// profileVariable names a folder in which it leaves a profile of its processor time.
const (
	serveVariable   = "CHAIRBLOCK_TEST_SERVE"
	profileVariable = "CHAIRBLOCK_LOAD_PROFILE"
)

// connections of each server, as --database-connections says for two servers of a database
// on two cores: with the ten that a program has of itself, those who hold locks wait for
// processors together with those who do not (measured).
const connections = 4

// serveAlone serves the database at url, with the pages, warm as in the program but
// without jobs, and the floors, until standard input ends. The time of the service goes
// on from start. It prints its address.
func serveAlone(url string) error {
	ctx := context.Background()
	st, err := store.Open(ctx, url, connections)
	if err != nil {
		return err
	}
	defer st.Close()
	key := sha256.Sum256([]byte{1})
	seal, err := store.NewSealer(key[:])
	if err != nil {
		return err
	}
	st.SealWith(seal)
	begun := time.Now()
	now := func() time.Time { return start.Add(time.Since(begun)) }
	defer st.KeepWarm(now).Stop()
	pool, err := floorPool(ctx, url)
	if err != nil {
		return err
	}
	defer pool.Close()
	s := api.New(st, "http://127.0.0.1", now)
	s.MountPages()
	all := http.NewServeMux()
	all.Handle("/floor/", floors(pool))
	all.Handle("/", s.Handler())
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	server := s.HTTPServer()
	server.Handler = all
	go func() { _ = server.Serve(listener) }()
	if dir := os.Getenv(profileVariable); dir != "" {
		f, err := os.Create(filepath.Join(dir, fmt.Sprintf("server-%d.pprof", os.Getpid())))
		if err != nil {
			return err
		}
		if err := pprof.StartCPUProfile(f); err != nil {
			return err
		}
		defer pprof.StopCPUProfile()
	}
	fmt.Println("http://" + listener.Addr().String())
	if _, err = io.Copy(io.Discard, os.Stdin); err != nil {
		return err
	}
	end, stop := context.WithTimeout(ctx, 10*time.Second)
	defer stop()
	return server.Shutdown(end)
}

func floorPool(ctx context.Context, url string) (*pgxpool.Pool, error) {
	cfg, err := pgxpool.ParseConfig(url)
	if err != nil {
		return nil, err
	}
	cfg.MaxConns = connections
	return pgxpool.NewWithConfig(ctx, cfg)
}

// A floorStep is what the floor of sixty rows reads of each.
type floorStep struct {
	Visit   string    `json:"visit_id"`
	Ordinal int       `json:"ordinal"`
	Kind    string    `json:"kind"`
	Start   time.Time `json:"start"`
	End     time.Time `json:"end"`
}

// floors are what any service of this kind costs here: an answer without a database,
// with one row of it, with sixty.
func floors(pool *pgxpool.Pool) http.Handler {
	e := echo.New()
	e.GET("/floor/echo", func(c echo.Context) error { return c.String(http.StatusOK, "hello") })
	e.GET("/floor/row/:salon", func(c echo.Context) error {
		var name string
		if err := pool.QueryRow(c.Request().Context(), `SELECT name FROM salon WHERE salon_id = $1`, c.Param("salon")).Scan(&name); err != nil {
			return err
		}
		return c.String(http.StatusOK, name)
	})
	e.GET("/floor/rows/:salon", func(c echo.Context) error {
		rows, err := pool.Query(c.Request().Context(), `SELECT visit_id, ordinal, kind, starts_at, ends_at FROM visit_step WHERE salon_id = $1 ORDER BY visit_id, ordinal LIMIT 60`, c.Param("salon"))
		if err != nil {
			return err
		}
		list, err := pgx.CollectRows(rows, pgx.RowToStructByPos[floorStep])
		if err != nil {
			return err
		}
		return c.JSON(http.StatusOK, list)
	})
	return e
}

// A loadServer is a process that serves.
type loadServer struct {
	url string
	pid int
}

// startServer starts one over the database of g.
func (g *grown) startServer(b *testing.B) loadServer {
	b.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), serveVariable+"="+g.url)
	cmd.Stderr = os.Stderr
	in, err := cmd.StdinPipe()
	require.NoError(b, err)
	out, err := cmd.StdoutPipe()
	require.NoError(b, err)
	require.NoError(b, cmd.Start())
	b.Cleanup(func() {
		_ = in.Close()
		_ = cmd.Wait()
	})
	line, err := bufio.NewReader(out).ReadString('\n')
	require.NoError(b, err, "the server says where it listens")
	return loadServer{strings.TrimSpace(line), cmd.Process.Pid}
}

// memory is what the process holds, in KiB, as Linux tells; 0 elsewhere.
func (x loadServer) memory() int {
	raw, _ := os.ReadFile(fmt.Sprintf("/proc/%d/status", x.pid))
	_, rest, _ := strings.Cut(string(raw), "VmRSS:")
	n, _ := strconv.Atoi(cmp.Or(strings.Fields(rest + " 0")...))
	return n
}

// machineLoad is the load average of the last minute, "?" where the system has none.
func machineLoad() string {
	raw, _ := os.ReadFile("/proc/loadavg")
	first, _, _ := strings.Cut(string(raw), " ")
	return cmp.Or(first, "?")
}
