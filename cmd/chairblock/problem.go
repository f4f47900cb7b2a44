package main

import (
	"errors"
	"fmt"
	"io"
	"os"

	"chairblock/scheduling"
)

// problemFlag says which problem file a command answers.
type problemFlag struct {
	Problem string `short:"p" required:"" placeholder:"FILE" help:"Read the problem from a JSON file of schema openings/1 with the task of this command: T1 openings, T3 pack, T4 delay; - is standard input."`
}

// readProblem reads the file with the reader of its task.
func readProblem[P any](f problemFlag, in io.Reader, read func(io.Reader) (P, error)) (P, error) {
	if f.Problem != "-" {
		file, err := os.Open(f.Problem)
		if err != nil {
			var none P
			return none, usagef("%v", err)
		}
		defer file.Close()
		in = file
	}
	p, err := read(in)
	if err != nil {
		if err = f.atFault(err); !isUsage(err) { // a directory, say
			err = usagef("%v", err)
		}
		return p, err
	}
	return p, nil
}

func isUsage(err error) bool {
	_, ok := errors.AsType[*usageError](err)
	return ok
}

// atFault puts the first faults of the file into one line and counts the rest.
// Errors that are no faults of the file are left alone.
func (f problemFlag) atFault(err error) error {
	const most = 3
	text := err.Error()
	many, several := errors.AsType[scheduling.Faults](err)
	if _, one := errors.AsType[*scheduling.InvalidError](err); !several && !one {
		return err
	}
	if len(many) > most {
		text = fmt.Sprintf("%v; and more like these", many[:most])
	}
	if f.Problem == "-" {
		return usagef("%s", text)
	}
	return usagef("%s: %s", f.Problem, text)
}
