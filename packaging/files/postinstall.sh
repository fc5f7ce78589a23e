#!/bin/sh
# After unpacking: the user that the service runs as. The service is not started,
# for nobody has said yet which sensor is where.
set -e
case "$1" in
configure) ;;
*) exit 0 ;;
esac
if ! getent group dustlog >/dev/null; then
	groupadd --system dustlog
fi
if ! getent passwd dustlog >/dev/null; then
	useradd --system --gid dustlog --home-dir /var/lib/dustlog --no-create-home --shell /usr/sbin/nologin dustlog
fi
if getent group dialout >/dev/null; then
	usermod --append --groups dialout dustlog
fi
chgrp dustlog /etc/dustlog/dustlog.toml
if [ -d /run/systemd/system ]; then
	systemctl daemon-reload || true
	udevadm control --reload 2>/dev/null || true
fi
