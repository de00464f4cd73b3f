//go:build !study

package metrics

// Thorough is whether tests take as long as they like.
const Thorough = false
