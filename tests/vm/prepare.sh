#!/usr/bin/env bash
# What `pytest -m vm` needs: Debian packages, a kernel unpacked and not installed, and bumble in an environment of its own.
set -euo pipefail
cache=${RISEWALK_VM_CACHE:-${XDG_CACHE_HOME:-$HOME/.cache}/risewalk-vm}
mkdir -p "$cache"
cd "$cache"
apt-get install --yes --no-install-recommends qemu-system-x86 bluez dbus busybox-static cpio kmod
if [ ! -d kernel ]; then
  image=$(apt-cache depends linux-image-amd64 | awk '/Depends:/ {print $2; exit}')
  apt-get download "$image"
  mkdir kernel.new
  dpkg-deb --extract "$image"_*.deb kernel.new
  depmod --basedir "$PWD/kernel.new" "$(ls kernel.new/lib/modules)"
  mv kernel.new kernel
  rm "$image"_*.deb
fi
if [ ! -x bumble/bin/python ]; then
  "${PYTHON:-python3}" -m venv bumble
  bumble/bin/pip install --quiet 'bumble>=0.0.236'
fi
echo "ready in $cache; now: python -m pytest -m vm tests/vm"
