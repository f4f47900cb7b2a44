package main

import (
	"encoding/json"
	"fmt"
	"io"
	"net/url"
	"os"
	"slices"
	"strings"

	"github.com/alecthomas/kong"
)

// Options says where else options stand, and shows them.
type Options struct {
	Config kong.ConfigFlag `name:"options-file" placeholder:"FILE" env:"CHAIRBLOCK_OPTIONS_FILE" help:"JSON file with options by their long names, such as {\"listen\": \"127.0.0.1:8080\"}. The command line goes first, then the environment, then this file."`
	Show   bool            `name:"show-options" help:"Print each option as it is in force, without passwords, and where it comes from; nothing is started."`
}

// optionsFile are options by their long names.
type optionsFile map[string]any

// readOptions reads a file of options.
func readOptions(r io.Reader) (kong.Resolver, error) {
	var o optionsFile
	d := json.NewDecoder(r)
	d.UseNumber()
	if err := d.Decode(&o); err != nil {
		return nil, fmt.Errorf("the file of options is no JSON object with options by their names: %w", err)
	}
	return o, nil
}

// Validate refuses names that no command knows: a mistyped one would do nothing.
func (o optionsFile) Validate(app *kong.Application) error {
	known := map[string]bool{}
	_ = kong.Visit(app, func(n kong.Visitable, next kong.Next) error { // nothing in here fails
		if f, is := n.(*kong.Flag); is {
			known[f.Name] = true
		}
		return next(nil)
	})
	for name := range o {
		if !known[name] || name == "options-file" || name == "show-options" {
			return fmt.Errorf("the file of options has %q, which is no option; expected names as after the two dashes, such as \"listen\"", name)
		}
	}
	return nil
}

// Resolve is the value of an option, nil when the file has none or the environment,
// which goes first, has one.
func (o optionsFile) Resolve(_ *kong.Context, _ *kong.Path, flag *kong.Flag) (any, error) {
	if inEnvironment(flag) != "" {
		return nil, nil
	}
	switch v := o[flag.Name].(type) {
	case json.Number:
		return v.String(), nil
	case []any:
		var parts []string
		for _, x := range v {
			parts = append(parts, fmt.Sprint(x))
		}
		return strings.Join(parts, ","), nil
	default:
		return v, nil
	}
}

// inEnvironment is the variable that sets an option, "" when none does.
func inEnvironment(flag *kong.Flag) string {
	for _, name := range flag.Envs {
		if _, set := os.LookupEnv(name); set {
			return name
		}
	}
	return ""
}

// show prints the options of the command as they are in force.
func (o Options) show(out io.Writer, ctx *kong.Context) error {
	given, filed := map[*kong.Flag]bool{}, map[*kong.Flag]bool{}
	for _, p := range ctx.Path {
		if p.Flag != nil {
			given[p.Flag] = !p.Resolved
			filed[p.Flag] = p.Resolved
		}
	}
	for _, f := range ctx.Selected().Flags {
		if f.Name == "show-options" || f.Hidden {
			continue
		}
		from := "usual"
		switch env := inEnvironment(f); {
		case given[f]:
			from = "command line"
		case env != "":
			from = env
		case filed[f]:
			from = string(o.Config)
		case f.Value.Target.IsZero():
			from = "left out"
		}
		if _, err := fmt.Fprintf(out, "%-22s %s  (%s)\n", f.Name, withoutSecrets(f.Value.Target.Interface()), from); err != nil {
			return err
		}
	}
	return nil
}

// withoutSecrets is a value with the password of every address in it left out.
func withoutSecrets(v any) string {
	words := []string{fmt.Sprint(v)}
	if list, is := v.([]string); is {
		words = slices.Clone(list)
	}
	for i, w := range words {
		u, err := url.Parse(w)
		switch {
		case err != nil && strings.Contains(w, "@"):
			words[i] = "(cannot be read as an address; not shown, since a password may stand in it)"
		case err == nil && u.User != nil:
			shown := "…@"
			if name := u.User.Username(); name != "" {
				shown = name + ":…@"
			}
			u.User, u.RawQuery = nil, ""
			words[i] = strings.Replace(u.String(), "://", "://"+shown, 1)
		}
	}
	return strings.Join(words, ",")
}
