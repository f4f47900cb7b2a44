package api_test

import (
	"flag"
	"os"
	"testing"

	"chairblock/migrations"
	"chairblock/store"
	"chairblock/store/storetest"
)

var update = flag.Bool("update", false, "write golden files anew")

func TestMain(m *testing.M) { os.Exit(storetest.Main(m, store.Migrate, migrations.Hash())) }
