package main

import (
	"bytes"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

func TestAKeyIsMadeOnceAndReadableByItsOwnerAlone(t *testing.T) {
	path := filepath.Join(t.TempDir(), "health.key")
	var out, errs bytes.Buffer
	require.Zero(t, run([]string{"health-key", path}, nil, &out, &errs), errs.String())
	info, err := os.Stat(path)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	lines := strings.Split(strings.TrimSpace(string(content)), "\n")
	require.NotContains(t, out.String(), lines[len(lines)-1], "the key is not printed")
	s, err := store.ReadSealer(path)
	require.NoError(t, err)
	require.Contains(t, out.String(), s.KeyID())
	require.Equal(t, exitUsage, run([]string{"health-key", path}, nil, &out, &errs))
	require.Contains(t, errs.String(), "exists already")
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, content, after)
	require.Equal(t, exitFailed, run([]string{"health-key", filepath.Join(path, "below")}, nil, &out, &errs))
}

func TestServeSaysWhetherItHasAKeyAndRefusesABadOne(t *testing.T) {
	var said []string
	log := func(format string, args ...any) { said = append(said, format) }
	s, err := HealthKey{}.sealer(log)
	require.NoError(t, err)
	require.Nil(t, s)
	require.Contains(t, said[0], "consultations are refused, everything else works")
	path := filepath.Join(t.TempDir(), "key")
	require.NoError(t, store.MakeKeyFile(path))
	s, err = HealthKey{File: path}.sealer(log)
	require.NoError(t, err)
	require.NotNil(t, s)
	require.NoError(t, os.Chmod(path, 0o640))
	_, err = HealthKey{File: path}.sealer(log)
	require.ErrorContains(t, err, "chmod 600")
	var out, errs bytes.Buffer
	require.Equal(t, exitFailed, run([]string{"serve", "--maildir", t.TempDir(), "--listen", "127.0.0.1:0", "--health-key-file", path}, nil, &out, &errs))
	require.Contains(t, errs.String(), "chmod 600", "before a database is started")
	require.Len(t, said, 2)
}

func TestServeRefusesKeysThatDoNotOpenTheDatabaseUntilTheKeyIsChangedForGood(t *testing.T) {
	st := filledStore(t)
	d := fillAt(t, st, moment(t, filledMoment))
	dir := t.TempDir()
	made := func(name string) string {
		path := filepath.Join(dir, name)
		require.NoError(t, store.MakeKeyFile(path))
		sealer, err := store.ReadSealer(path)
		require.NoError(t, err)
		st.SealWith(sealer)
		return path
	}
	check := func(k HealthKey) error {
		var sealer *store.Sealer
		if k.File != "" {
			var err error
			sealer, err = store.ReadSealer(k.File)
			require.NoError(t, err)
		}
		st.SealWith(sealer)
		return k.check(t.Context(), st, t.Logf)
	}
	old := made("old")
	require.NoError(t, check(HealthKey{}), "nothing is sealed yet")
	require.NoError(t, check(HealthKey{File: old}))
	require.NoError(t, st.InTx(t.Context(), d.row.ID, func(tx *store.Tx) error {
		_, err := tx.AddTestNote(t.Context(), store.TestNote{Client: d.clients[0].ID, Noted: time.Now(), TestFacts: store.TestFacts{What: store.Reaction}})
		return err
	}))
	young := made("young")
	for _, wrong := range []HealthKey{{}, {File: young}} {
		require.ErrorContains(t, check(wrong), "--health-key-lost")
		wrong.Lost = true
		require.NoError(t, check(wrong))
	}
	both := filepath.Join(dir, "both")
	a, err := os.ReadFile(young)
	require.NoError(t, err)
	b, err := os.ReadFile(old)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(both, append(a, b...), 0o600))
	require.NoError(t, check(HealthKey{File: both}))
	done, err := st.Reseal(t.Context())
	require.NoError(t, err)
	require.Equal(t, store.Resealed{Rows: 1}, done)
	require.NoError(t, check(HealthKey{File: young}))
	require.Error(t, check(HealthKey{File: old}))

	var out, errs bytes.Buffer
	require.Equal(t, exitUsage, run([]string{"health-key", "reseal"}, nil, &out, &errs))
	require.Contains(t, errs.String(), "--health-key-file")
}

func TestTheDemoHoldsConsultationsOnce(t *testing.T) {
	st := filledStore(t)
	now := moment(t, filledMoment)
	d := fillAt(t, st, now)
	count := func() (n int) {
		for _, c := range d.clients {
			require.NoError(t, st.InTx(t.Context(), d.row.ID, func(tx *store.Tx) error {
				list, err := tx.Screenings(t.Context(), c.ID)
				n += len(list)
				return err
			}))
		}
		return n
	}
	require.Zero(t, count(), "without a key nothing is asked")
	key := filepath.Join(t.TempDir(), "key")
	require.NoError(t, store.MakeKeyFile(key))
	sealer, err := store.ReadSealer(key)
	require.NoError(t, err)
	st.SealWith(sealer)
	for range 2 {
		d = fillAt(t, st, now)
		require.Equal(t, len(demoConsulted), count())
	}
	s := api.New(st, "http://demo.example", func() time.Time { return now })
	var token string
	require.NoError(t, st.InTx(t.Context(), d.row.ID, func(tx *store.Tx) (err error) {
		_, token, err = tx.AddToken(t.Context(), store.Owner, "", "test", nil)
		return err
	}))
	outcomes := map[string]string{}
	for _, family := range []string{"Quist", "Holt", "Sand", "Wren", "Marrow"} {
		clients := into[struct{ Items []api.ClientBody }](ask(t, s, token, http.MethodGet, "/v1/clients?name="+family+"&limit=1", ""))
		list := into[struct{ Items []api.ScreeningItem }](ask(t, s, token, http.MethodGet, "/v1/clients/"+clients.Items[0].ID+"/screenings", ""))
		outcomes[family] = list.Items[0].Outcome + " " + list.Items[0].Decision
	}
	require.Equal(t, map[string]string{"Quist": "clear ", "Holt": "clear ", "Sand": "ask yes", "Wren": "ask ", "Marrow": "do_not_book "}, outcomes)
}
