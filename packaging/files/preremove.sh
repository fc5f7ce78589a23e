#!/bin/sh
# Before removal: stop collecting. Readings in /var/lib/dustlog stay, whatever is
# removed.
set -e
if [ "$1" = remove ] && [ -d /run/systemd/system ]; then
	systemctl disable --now dustlog.service || true
fi
