package main

import (
	"path/filepath"

	"outbreath/pack/place"
)

// mediaFit refuses media that must not be sealed onto: see [place.Medium].
func mediaFit(collection string, o *options, media []string) error {
	keys, err := o.dir()
	if err != nil {
		return err
	}
	for _, m := range media {
		if err := place.Medium(m, collection, keys); err != nil {
			return err
		}
	}
	return nil
}

// placeToDo returns the advice on a refused place.
func placeToDo(e *place.Error) string {
	if e.Reason == place.UnpackedOnMedium {
		return "name a folder on this computer's own disk, encrypted as your rules say, such as --into " +
			quoted(filepath.Base(e.Path)) + " in your own folder"
	}
	return map[place.Reason]string{
		place.NoMedium:           "plug the medium in, or correct the name",
		place.MediumIsCollection: "name a folder on the medium",
		place.MediumHoldsCollection: "move the collection to the site's own computer, erase it from the medium " +
			"as your site's rules say, then seal",
		place.MediumHoldsKeys: "keep the keys apart from the medium, " +
			"and tell the privacy officer if that medium has left the site before",
		place.MediumInShipment:   "name the medium's own folder, outside every shipment",
		place.MediumInCollection: "name a folder on the medium",
		place.OutputInShipment:   "name a place outside every shipment",
		place.OutputInCollection: "name a place outside every collection",
		place.SlipExists:         "name a file that does not exist yet",
		place.SlipNoFolder:       "name a file in a folder that exists",
		place.SlipInCollection:   "name a file in another folder, and print it",
		place.SlipOnMedium:       "name a file in another folder, and print it",
	}[e.Reason]
}
