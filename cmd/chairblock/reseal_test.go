//go:build unix

package main

import (
	"net/http"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/store"
	"chairblock/store/pg"
)

func TestAKeyIsChangedBesideAServiceThatRuns(t *testing.T) {
	dir := folder(t)
	data := filepath.Join(dir, "data")
	made := func(name string) (path string, sealer *store.Sealer) {
		path = filepath.Join(dir, name)
		require.NoError(t, store.MakeKeyFile(path))
		sealer, err := store.ReadSealer(path)
		require.NoError(t, err)
		return path, sealer
	}
	oldFile, old := made("old")
	youngFile, young := made("young")
	both := filepath.Join(dir, "both")
	first, err := os.ReadFile(youngFile)
	require.NoError(t, err)
	second, err := os.ReadFile(oldFile)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(both, append(first, second...), 0o600))

	s := launch(t, nil, "serve", "--data", data, "--maildir", filepath.Join(dir, "mail"), "--listen", "127.0.0.1:0", "--health-key-file", both)
	url := s.waitFor(`listening on (http://127\.0\.0\.1:\d+)`)[1]
	database, err := pg.RunningURL(data, "")
	require.NoError(t, err)
	st, err := store.Open(t.Context(), database, 2)
	require.NoError(t, err)
	defer st.Close()
	row, err := st.AddSalon(t.Context(), store.Salon{Name: "Quay & Sons", Zone: "Europe/Lisbon"})
	require.NoError(t, err)
	st.SealWith(old)
	require.NoError(t, st.InTx(t.Context(), row.ID, func(tx *store.Tx) error {
		c, err := tx.AddClient(t.Context(), store.Client{GivenName: "Mara", ContactBy: "none"})
		if err != nil {
			return err
		}
		_, err = tx.AddTestNote(t.Context(), store.TestNote{Client: c.ID, Noted: time.Now(), TestFacts: store.TestFacts{What: store.Reaction}})
		return err
	}))
	st.SealWith(young)
	require.Error(t, st.CheckKeys(t.Context()))

	code, out, errs := runOnce(t, "health-key", "reseal", "--data", data, "--health-key-file", both)
	require.Zero(t, code, errs)
	require.Contains(t, out, "1 texts are sealed with the key "+young.KeyID()+" now\n")
	require.NoError(t, st.CheckKeys(t.Context()))
	require.Equal(t, http.StatusOK, call(t, http.MethodGet, url+"/sign-in", "", nil).status, "which goes on")
}
