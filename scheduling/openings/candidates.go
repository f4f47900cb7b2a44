package openings

import (
	"fmt"
	"slices"
	"strings"
)

// candidates returns the units that can meet n: by the order of n.Kinds, then
// by the order of the shop.
func (r *roster) candidates(n Need) candidates {
	var out candidates
	for k, kind := range n.Kinds {
		if slices.Contains(n.Kinds[:k], kind) {
			continue
		}
		for i := range r.units {
			if r.units[i].Kind == kind && r.units[i].able(n) {
				out = append(out, int32(i))
			}
		}
	}
	return out
}

// able reports whether u, of a fitting kind, meets the rest of n.
func (u *Unit) able(n Need) bool {
	for _, skill := range n.Skills {
		if !slices.Contains(u.Skills, skill) {
			return false
		}
	}
	return (len(n.Only) == 0 || slices.Contains(n.Only, u.ID)) && !slices.Contains(n.Except, u.ID)
}

// findMissing says what no hour of any day can give.
func (p *Plan) findMissing(u uses) []string {
	var out []string
	say := func(s string) {
		if !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	for r, c := range p.roles {
		if len(c) == 0 {
			say(p.roster.lack(p.spec.Roles[r].Need))
		}
	}
	for i, pool := range p.pools {
		for e, c := range pool {
			if len(c) == 0 {
				say(p.roster.lack(p.spec.Phases[i].Pool[e]))
			}
		}
	}
	if len(out) > 0 {
		return out
	}
	if !matchable(p.roles) {
		return []string{"not enough different units for the roles of the visit"}
	}
	for i, pool := range p.pools {
		jobs := slices.Clone(pool)
		for _, r := range u.phases[i] {
			jobs = append(jobs, p.roles[r])
		}
		if !matchable(jobs) {
			say(fmt.Sprintf("not enough different units for %s, which needs %d at once",
				phaseName(i, p.spec.Phases[i].Name), len(jobs)))
		}
	}
	return out
}

func phaseName(i int, name string) string {
	if name == "" {
		return fmt.Sprintf("phase %d", i+1)
	}
	return name
}

// lack says in words that nobody meets n.
func (r *roster) lack(n Need) string {
	var kinds []string
	for _, k := range n.Kinds {
		kinds = append(kinds, string(k))
	}
	who := "no " + strings.Join(kinds, " or ")
	others := n
	others.Except = nil
	if len(n.Except) > 0 && len(r.candidates(others)) > 0 {
		return who + " besides the one who watches"
	}
	if n.Only = nil; len(r.candidates(Need{Kinds: n.Kinds})) == 0 {
		return who
	}
	for _, skill := range n.Skills {
		if len(r.candidates(Need{Kinds: n.Kinds, Skills: []string{skill}})) == 0 {
			if !slices.ContainsFunc(r.units, func(u Unit) bool { return slices.Contains(u.Skills, skill) }) {
				return "nobody has the skill " + skill
			}
			return who + " has the skill " + skill
		}
	}
	if len(r.candidates(n)) == 0 {
		return who + " has all of the skills " + strings.Join(n.Skills, ", ")
	}
	if len(n.Skills) > 0 {
		return "the one asked for lacks " + strings.Join(n.Skills, " or ")
	}
	return who + " among those asked for"
}

// matchable reports whether every job can get a candidate of its own.
func matchable(jobs []candidates) bool {
	taken := map[int32]int{} // unit to job
	for j := range jobs {
		if !augment(jobs, j, taken, map[int32]bool{}) {
			return false
		}
	}
	return true
}

// augment finds a unit for job j, moving other jobs to other units if need be.
func augment(jobs []candidates, j int, taken map[int32]int, seen map[int32]bool) bool {
	for _, u := range jobs[j] {
		if seen[u] {
			continue
		}
		seen[u] = true
		if other, ok := taken[u]; !ok || augment(jobs, other, taken, seen) {
			taken[u] = j
			return true
		}
	}
	return false
}
