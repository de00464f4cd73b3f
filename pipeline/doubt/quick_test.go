//go:build !study

package doubt_test

// thorough is whether tests take as long as they like.
const thorough = false
