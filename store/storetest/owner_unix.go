//go:build unix

package storetest

import (
	"io/fs"
	"syscall"
)

func owner(info fs.FileInfo) (uid, gid int) {
	st := info.Sys().(*syscall.Stat_t)
	return int(st.Uid), int(st.Gid)
}
