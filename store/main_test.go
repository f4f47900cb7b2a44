package store_test

import (
	"os"
	"testing"

	"chairblock/migrations"
	"chairblock/store"
	"chairblock/store/storetest"
)

func TestMain(m *testing.M) { os.Exit(storetest.Main(m, store.Migrate, migrations.Hash())) }
