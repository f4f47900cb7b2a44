package main

import (
	"errors"
	"fmt"
	"io"
	"os"

	"chairblock/store"
)

// HealthKey says where the key for answers about health lies.
type HealthKey struct {
	File string `name:"health-key-file" env:"CHAIRBLOCK_HEALTH_KEY_FILE" placeholder:"FILE" help:"File with the key that encrypts answers about health, as chairblock health-key makes it; not in the database and not in its backup. Left out: consultations are refused, everything else works."`
}

// sealer reads the key, and says which one it is. Without a file it returns nil.
func (k HealthKey) sealer(log func(string, ...any)) (*store.Sealer, error) {
	if k.File == "" {
		log("no key for answers about health (--health-key-file): consultations are refused, everything else works")
		return nil, nil
	}
	s, err := store.ReadSealer(k.File)
	if err != nil {
		return nil, err
	}
	log("answers about health are sealed with the key %s", s.KeyID())
	return s, nil
}

// HealthKeyCmd makes a key.
type HealthKeyCmd struct {
	File string `arg:"" help:"File to make. It must not exist yet."`
}

// Run writes a new key that its owner alone can read.
func (c *HealthKeyCmd) Run(out io.Writer) error {
	if _, err := os.Lstat(c.File); err == nil {
		return usagef("%s exists already: a key that is in use must not be lost", c.File)
	} else if !errors.Is(err, os.ErrNotExist) {
		return err
	}
	if err := store.MakeKeyFile(c.File); err != nil {
		return err
	}
	s, err := store.ReadSealer(c.File)
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "%s holds the new key %s. Keep a copy apart from the database: without it nobody can read the answers again.\n", c.File, s.KeyID())
	return nil
}
