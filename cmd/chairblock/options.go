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

// Options shows options.
type Options struct {
	Show bool `name:"show-options" help:"Print each option as it is in force, without passwords, and where it comes from; nothing is started."`
}

// optionsPath is a file with options of the command that it is an option of.
type optionsPath string

// BeforeResolve has the options of the file count. It is called for other commands, too,
// when the environment names a file.
func (optionsPath) BeforeResolve(k *kong.Kong, ctx *kong.Context, trace *kong.Path) error {
	if at := ctx.Selected(); at == nil || !slices.Contains(at.Flags, trace.Flag) {
		return nil
	}
	path, _ := ctx.FlagValue(trace.Flag).(optionsPath)
	if path == "" {
		return nil
	}
	r, err := k.LoadConfig(string(path))
	if err != nil {
		return err
	}
	ctx.AddResolver(r)
	return nil
}

// onCommandLine says whether an option stands there.
func onCommandLine(ctx *kong.Context, name string) bool {
	return slices.ContainsFunc(ctx.Path, func(p *kong.Path) bool { return p.Flag != nil && !p.Resolved && p.Flag.Name == name })
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

// showOptions prints the options of the command as they are in force. file is that of
// options.
func showOptions(out io.Writer, ctx *kong.Context, file optionsPath) error {
	filed := map[*kong.Flag]bool{}
	for _, p := range ctx.Path {
		if p.Flag != nil {
			filed[p.Flag] = p.Resolved
		}
	}
	for _, f := range ctx.Selected().Flags {
		if f.Name == "show-options" || f.Hidden {
			continue
		}
		from := "usual"
		switch env := inEnvironment(f); {
		case onCommandLine(ctx, f.Name):
			from = "command line"
		case env != "":
			from = env
		case filed[f]:
			from = string(file)
		case f.Value.Target.IsZero():
			from = "left out"
		}
		if _, err := fmt.Fprintf(out, "%-22s %s  (%s)\n", f.Name, withoutSecrets(f.Name, f.Value.Target.Interface()), from); err != nil {
			return err
		}
	}
	return nil
}

// withoutSecrets is the value of an option with the password of every address in it
// left out.
func withoutSecrets(name string, v any) string {
	words := []string{fmt.Sprint(v)}
	if list, is := v.([]string); is {
		words = slices.Clone(list)
	}
	mayHold := name == "database-url" || name == "smtp-url"
	for i, w := range words {
		words[i] = withoutPassword(w, mayHold)
	}
	return strings.Join(words, ",")
}

// withoutPassword is a value without the password that may stand in it: of an address
// with a scheme, and of other texts, such as the settings of a database one after the
// other. mayHold means that the value is that of an option which takes passwords.
func withoutPassword(w string, mayHold bool) string {
	const hidden = "(not shown, since a password may stand in it)"
	u, err := url.Parse(w)
	if err != nil || u.Scheme == "" || u.Opaque != "" {
		if w != "" && (mayHold || strings.Contains(w, "password=") || err != nil && strings.Contains(w, "@")) {
			return hidden
		}
		return w
	}
	if strings.Contains(u.Path+u.RawQuery+u.Fragment, "@") { // a password with a sign that ends the name of a host
		return hidden
	}
	user, query := "", ""
	if u.User != nil {
		user = "…@"
		if name := u.User.Username(); name != "" {
			user = name + ":…@"
		}
	}
	if u.RawQuery != "" {
		query = "?…"
	}
	u.User, u.RawQuery, u.Fragment, u.RawFragment = nil, "", "", ""
	return strings.Replace(u.String(), "://", "://"+user, 1) + query
}
