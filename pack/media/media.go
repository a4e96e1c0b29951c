// Package media writes files to a removable medium so that they are really
// there: limits first, synced, read back past the cache.
package media
