package main

import (
	"io/fs"
	"os"
	"path/filepath"
)

// holder returns the nearest folder at or above dir of which is says so, or "". Links are
// followed first, so that it is where the folder really lies.
func holder(dir string, is func(folder string) bool) string {
	at, err := filepath.Abs(dir)
	if err == nil {
		at, err = filepath.EvalSymlinks(at)
	}
	if err != nil {
		return "" // a folder that is not there is told elsewhere
	}
	for {
		if is(at) {
			return at
		}
		up := filepath.Dir(at)
		if up == at {
			return ""
		}
		at = up
	}
}

func isShipment(folder string) bool {
	return hasAll(folder, fs.FileMode.IsRegular, "shipment.json", "SHA256SUMS")
}

func isCollection(folder string) bool {
	return hasAll(folder, fs.FileMode.IsRegular, "study.json") && hasAll(folder, fs.FileMode.IsDir, "sessions")
}

func hasAll(folder string, kind func(fs.FileMode) bool, names ...string) bool {
	for _, name := range names {
		if info, err := lstat(filepath.Join(folder, name)); err != nil || !kind(info.Mode()) {
			return false
		}
	}
	return true
}

// mediumFits refuses a folder to seal into that lies in a shipment or in any collection.
func mediumFits(medium string) error {
	if at := holder(medium, isShipment); at != "" {
		return usagef("name the medium's own folder, outside of every shipment", "%s lies in the shipment %s, and a laboratory rejects a shipment in which anything was added", quoted(medium), quoted(at))
	}
	if at := holder(medium, isCollection); at != "" {
		return usagef("name a folder on the medium", "%s lies in the collection %s: the shipment must not be written into a collection", quoted(medium), quoted(at))
	}
	return nil
}

// outsideShipment refuses what would be written into a shipment.
func outsideShipment(path string) error {
	if at := holder(filepath.Dir(filepath.Clean(path)), isShipment); at != "" {
		return usagef("name a place outside of every shipment", "%s would lie in the shipment %s, which must stay as the site signed it; nothing was written", quoted(path), quoted(at))
	}
	return nil
}

// outputApart refuses what would be written into a shipment, or into a collection, which
// only holds what was collected. An empty path is none.
func outputApart(path string) error {
	if path == "" {
		return nil
	}
	if err := outsideShipment(path); err != nil {
		return err
	}
	if at := holder(filepath.Dir(filepath.Clean(path)), isCollection); at != "" {
		return usagef("name a place outside of every collection", "%s would lie in the collection %s, which only holds what was collected; nothing was written", quoted(path), quoted(at))
	}
	return nil
}

// unpackApart refuses to unpack into a shipment, and onto the medium that it came on:
// what is inside must not go back on a medium in the clear.
//
// A medium is what is mounted where the shipment lies, or else the folder that holds
// the shipment, unless that is where the person works.
func unpackApart(into, shipment string) error {
	if err := outputApart(into); err != nil {
		return err
	}
	above := filepath.Dir(filepath.Clean(into))
	medium := filepath.Dir(resolved(shipment))
	onIt := mountPoint(medium) && sameDevice(above, medium)
	if !onIt {
		if in, err := below(above, medium); err == nil && in {
			work, err := below(".", medium)
			onIt = err == nil && !work
		}
	}
	if onIt {
		return usagef("name a folder on this computer's own disk, encrypted as your rules say, such as --into "+quoted(filepath.Base(into))+" in your own folder",
			"%s lies on the medium itself, and what is unpacked there could be read by whoever gets the medium; nothing was written", quoted(into))
	}
	return nil
}

func resolved(path string) string {
	at, err := filepath.Abs(path)
	if err != nil {
		return path
	}
	if real, err := filepath.EvalSymlinks(at); err == nil {
		return real
	}
	return at
}

// mountPoint reports whether a file system of its own begins at dir, other than the root's.
func mountPoint(dir string) bool {
	up := filepath.Dir(dir)
	return up != dir && !sameDevice(dir, up)
}

func sameDevice(a, b string) bool {
	first, err := os.Stat(a)
	if err != nil {
		return false
	}
	second, err := os.Stat(b)
	return err == nil && device(first) == device(second)
}
