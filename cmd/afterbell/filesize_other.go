//go:build !unix

package main

// fileSizeAsError is for systems that have such a limit.
func fileSizeAsError() {}
