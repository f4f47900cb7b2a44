package storetest

import "syscall"

// memoryNeed is the room that a test server may want, in bytes (judgement): the copied
// cluster takes 40 MB, its write-ahead log 128 MB as it is set, each database that exists
// at one time 8 MB.
const memoryNeed = 1 << 30

// memoryDir is a folder in memory with enough room, "" when there is none.
// Containers often have one of 64 MB only.
func memoryDir() string {
	const dir, tmpfs = "/dev/shm", 0x01021994 // the type's number in statfs(2)
	var st syscall.Statfs_t
	if err := syscall.Statfs(dir, &st); err != nil || int64(st.Type) != tmpfs { //nolint:unconvert // other types on other processors
		return ""
	}
	if int64(st.Bavail)*int64(st.Bsize) < memoryNeed || syscall.Access(dir, 2 /* W_OK */) != nil { //nolint:unconvert // as above
		return ""
	}
	return dir
}
