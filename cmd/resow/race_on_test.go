//go:build race

package main

// raced says that the tests run under the race detector.
const raced = true
