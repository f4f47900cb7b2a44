package pg

import (
	"fmt"
	"os"
	"os/user"
	"strconv"
)

// account is the account that the server runs as when this process is root,
// because PostgreSQL refuses to run as root.
type account struct {
	name     string
	uid, gid int
	groups   []uint32
	home     string
}

// pickAccount is nil when this process is not root. Otherwise data that exists
// decides by its owner; without data it is the account that called sudo, or
// else postgres, _postgres (macOS) or nobody. The account must have an entry in
// the system's list: initdb asks for its name.
func pickAccount(data string) (*account, error) {
	if os.Geteuid() != 0 {
		return nil, nil
	}
	if info, err := os.Stat(data); err == nil {
		uid, _ := owner(info)
		u, err := user.LookupId(strconv.Itoa(uid))
		if err != nil || uid == 0 {
			return nil, fmt.Errorf("%w: %s belongs to uid %d, which is root or has no account; "+
				"give it to the account that made it", ErrNoAccount, data, uid)
		}
		return newAccount(u)
	}
	if id := os.Getenv("SUDO_UID"); id != "" && id != "0" {
		if u, err := user.LookupId(id); err == nil && u.Uid != "0" {
			return newAccount(u)
		}
	}
	for _, name := range []string{"postgres", "_postgres", "nobody"} {
		if u, err := user.Lookup(name); err == nil && u.Uid != "0" {
			return newAccount(u)
		}
	}
	return nil, fmt.Errorf("%w: this process is root and there is no account postgres, _postgres or nobody; "+
		"run as another account, or set DATABASE_URL", ErrNoAccount)
}

func newAccount(u *user.User) (*account, error) {
	a := &account{name: u.Username, home: u.HomeDir}
	var err error
	if a.uid, err = strconv.Atoi(u.Uid); err != nil {
		return nil, fmt.Errorf("account %s: %w", u.Username, err)
	}
	if a.gid, err = strconv.Atoi(u.Gid); err != nil {
		return nil, fmt.Errorf("account %s: %w", u.Username, err)
	}
	ids, err := u.GroupIds()
	if err != nil {
		ids = []string{u.Gid}
	}
	for _, id := range ids {
		n, err := strconv.ParseUint(id, 10, 32)
		if err != nil {
			return nil, fmt.Errorf("account %s: group %q: %w", u.Username, id, err)
		}
		a.groups = append(a.groups, uint32(n))
	}
	return a, nil
}
