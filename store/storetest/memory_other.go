//go:build !linux

package storetest

// memoryDir is "": there is no folder in memory that could be relied on.
func memoryDir() string { return "" }
