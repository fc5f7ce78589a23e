// Package bundle is the container of an evidence bundle: a zip file whose first
// look is plain files anyone can open, and whose manifest holds the size and
// SHA-256 of each. It knows nothing of what is in the files.
//
//	manifest.json        what follows, with size and SHA-256 of each; written last
//	readings/….csv, …    whatever the writer put in
//
// A bundle comes from somebody else, so reading trusts nothing: names may not
// lead out of a folder, sizes are bounded before and while unpacking, and every
// file must be in the manifest as it is.
package bundle
