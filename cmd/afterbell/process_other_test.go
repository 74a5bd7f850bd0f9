//go:build !unix

package main

func limitFiles() {}
