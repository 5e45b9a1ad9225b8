//go:build race

package stranger

const raced = true
