package backup

// Different lists the tables that are not the same in both.
func Different(a, b []Table) []string { return different(a, b) }

// Environment is what programs are given.
func Environment(address string) ([]string, error) { return environment(address) }
