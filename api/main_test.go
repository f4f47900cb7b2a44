package api_test

import (
	"flag"
	"fmt"
	"os"
	"runtime"
	"runtime/debug"
	"testing"

	"chairblock/migrations"
	"chairblock/store"
	"chairblock/store/storetest"
)

var update = flag.Bool("update", false, "write golden files anew")

// Tests wait for the database more than they count: six at once share a machine of
// two processors well.
func TestMain(m *testing.M) {
	if runtime.GOMAXPROCS(0) < 6 {
		_ = flag.Set("test.parallel", "6") // what the command line says comes after this
	}
	if flag.Parse(); flag.Lookup("test.bench").Value.String() == "" {
		debug.SetGCPercent(400) // tests have the memory and lack the processors; what is measured is as it is
	}
	if url := os.Getenv(serveVariable); url != "" {
		if err := serveAlone(url); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		return
	}
	os.Exit(storetest.Main(m, store.Migrate, migrations.Hash()))
}
