package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"chairblock/store"
)

// HealthKey says where the key for answers about health lies.
type HealthKey struct {
	File string `name:"health-key-file" env:"CHAIRBLOCK_HEALTH_KEY_FILE" placeholder:"FILE" help:"File with the key that encrypts answers about health, as chairblock health-key makes it; not in the database and not in its backup. Left out: consultations are refused, everything else works."`
	Lost bool   `name:"health-key-lost" env:"CHAIRBLOCK_HEALTH_KEY_LOST" help:"Start although answers in the database are sealed with keys that are not in the file. They stay unreadable, and what they said counts as needed again."`
}

// check refuses to go on with keys that do not open what is in the database: tests
// that nobody can read count as missing, and what is written from now on would be
// sealed with the wrong key.
func (k HealthKey) check(ctx context.Context, st *store.Store, log func(string, ...any)) error {
	err := st.CheckKeys(ctx)
	missing, ok := errors.AsType[*store.MissingKeysError](err)
	if !ok {
		return err
	}
	if k.Lost {
		log("%v; they stay unreadable", missing)
		return nil
	}
	return fmt.Errorf("%w: name the file that holds them with --health-key-file or, when they are lost for good, add --health-key-lost", missing)
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

// HealthKeyCmd is about keys for answers about health.
type HealthKeyCmd struct {
	Make   MakeKeyCmd `cmd:"" default:"withargs" help:"Make a file with a new key for answers about health."`
	Reseal ResealCmd  `cmd:"" help:"Seal all answers about health with the first key of a file, so that its other keys are needed no more."`
}

// MakeKeyCmd makes a key.
type MakeKeyCmd struct {
	File string `arg:"" help:"File to make. It must not exist yet."`
}

// Run writes a new key that its owner alone can read.
func (c *MakeKeyCmd) Run(out io.Writer) error {
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

// ResealCmd finishes the change of a key.
type ResealCmd struct {
	Database
	File string `name:"health-key-file" env:"CHAIRBLOCK_HEALTH_KEY_FILE" placeholder:"FILE" required:"" help:"File with the keys, the new one first. The service has to be running with this file already, or not at all."`
}

// Run seals what is sealed with other keys with the first one.
func (c *ResealCmd) Run(out io.Writer) error {
	ctx, stop := untilTold()
	defer stop()
	log := func(format string, args ...any) { fmt.Fprintf(out, format+"\n", args...) }
	seal, err := store.ReadSealer(c.File)
	if err != nil {
		return err
	}
	database, end, err := c.attach(ctx, log)
	if err != nil {
		return err
	}
	defer end()
	if err := store.Migrate(ctx, database); err != nil {
		return err
	}
	st, err := store.Open(ctx, database, 0)
	if err != nil {
		return err
	}
	defer st.Close()
	st.SealWith(seal)
	done, err := st.Reseal(ctx)
	if err != nil {
		return err
	}
	log("%d texts are sealed with the key %s now", done.Rows, seal.KeyID())
	if done.Broken > 0 {
		return fmt.Errorf("%d texts could not be opened, since somebody changed or moved them behind the program's back; they stay as they are: keep the old keys", done.Broken)
	}
	log("the other keys of %s are needed for backups from before only", c.File)
	return nil
}
