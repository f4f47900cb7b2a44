// Command chairblock books chair time for a small salon. Its sub-commands
// estimate, openings, pack, delay, and pace with a file need neither a database nor
// a network; demo needs nothing but PostgreSQL on the machine.
package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/alecthomas/kong"

	"chairblock/scheduling"
)

// commands are the sub-commands, one a line.
type commands struct {
	Demo      DemoCmd      `cmd:"" help:"Show the whole service with an invented salon; needs no set-up."`
	Serve     ServeCmd     `cmd:"" help:"Run the service."`
	Salon     SalonCmd     `cmd:"" help:"Make a salon; make new links for signing in."`
	Migrate   MigrateCmd   `cmd:"" help:"Bring the database to the newest schema."`
	Doctor    DoctorCmd    `cmd:"" help:"Look whether everything that the service needs is well, and say what to do."`
	Backup    BackupCmd    `cmd:"" help:"Write everything in the database into one file."`
	Restore   RestoreCmd   `cmd:"" help:"Read a backup into an empty database."`
	HealthKey HealthKeyCmd `cmd:"" help:"Make a key for answers about health, or change it."`
	Estimate  EstimateCmd  `cmd:"" help:"Work out how long straightening takes on somebody's hair."`
	Openings  OpeningsCmd  `cmd:"" help:"Find every start at which a visit fits, from a problem file."`
	Pack      PackCmd      `cmd:"" help:"Put as many visits as possible into the time that is left, from a problem file."`
	Pace      PaceCmd      `cmd:"" help:"Report how promises were kept and how quickly people work, from records."`
	Delay     DelayCmd     `cmd:"" help:"Work out what a day in progress still allows, from a problem file."`
}

// Exit codes.
const (
	exitFailed = 1 // something went wrong
	exitUsage  = 2 // the command line or the input is at fault
)

// usageError is a fault of the command line or of the input as a whole.
type usageError struct{ text string }

func (e *usageError) Error() string { return e.text }

func usagef(format string, args ...any) error {
	return &usageError{fmt.Sprintf(format, args...)}
}

func main() { os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) }

// run carries out one command and returns its exit code. Every line on errs
// begins with the name of the program.
func run(args []string, in io.Reader, out, errs io.Writer) int {
	parser, err := newParser(&commands{}, in, out, errs)
	if err != nil {
		return complain(errs, err)
	}
	ctx, err := parser.Parse(args)
	if err != nil {
		return complain(errs, usagef("%v", err))
	}
	return complain(errs, ctx.Run())
}

// newParser reads command lines into c.
func newParser(c *commands, in io.Reader, out, errs io.Writer) (*kong.Kong, error) {
	return kong.New(c,
		kong.Name("chairblock"),
		kong.Description("Booking and chair time for a small salon."),
		kong.Writers(out, errs),
		kong.Configuration(readOptions),
		kong.BindTo(in, (*io.Reader)(nil)),
		kong.BindTo(out, (*io.Writer)(nil)),
	)
}

// complain writes one line for each fault in err, or err itself, and returns
// the exit code.
func complain(errs io.Writer, err error) int {
	if err == nil {
		return 0
	}
	if faults, ok := errors.AsType[scheduling.Faults](err); ok {
		for _, f := range faults {
			fmt.Fprintln(errs, "chairblock:", f)
		}
		return exitUsage
	}
	for line := range strings.Lines(err.Error()) {
		fmt.Fprintln(errs, "chairblock:", strings.TrimRight(line, "\n"))
	}
	_, usage := errors.AsType[*usageError](err)
	_, invalid := errors.AsType[*scheduling.InvalidError](err)
	if usage || invalid {
		return exitUsage
	}
	return exitFailed
}
