"""A small virtual machine: Debian's kernel in qemu's software emulation, on this machine's own files.

The host's root is mounted read-only over 9p with a tmpfs on top, so the machine sees every file of the host and can
change none. What it runs prints to the console, which is all that comes back.
"""

import gzip
import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

MODULES = [
    "virtio_pci",
    "9p",
    "9pnet_virtio",
    "overlay",
    "virtio_rng",
    "cmac",
    "ecb",
    "algif_skcipher",
    "algif_hash",
    "bluetooth",
    "hci_vhci",
]
CPU = "qemu64,+ssse3,+sse4.1,+sse4.2,+popcnt"
"""With what compiled Python packages take for granted (x86-64-v2)."""
KERNEL = "console=ttyS0 quiet panic=-1 no_timer_check"
"""The kernel counts ticks against time at its start and gives up; an emulated machine on a busy host is late there."""
PROGRAMS = ("qemu-system-x86_64", "busybox", "cpio", "modprobe", "dbus-daemon")
BLUETOOTHD = Path("/usr/libexec/bluetooth/bluetoothd")
INIT = """#!/bin/busybox sh
/bin/busybox mount -t proc p /proc
/bin/busybox mount -t sysfs s /sys
/bin/busybox mount -t devtmpfs d /dev
for m in /mod/*; do /bin/busybox insmod $m; done
/bin/busybox mount -t 9p -o trans=virtio,version=9p2000.L,ro,cache=loose,msize=512000 root /low
/bin/busybox mount -t tmpfs t /up
/bin/busybox mkdir /up/files /up/work
/bin/busybox mount -t overlay -o lowerdir=/low,upperdir=/up/files,workdir=/up/work o /new
/bin/busybox mount -t proc p /new/proc
/bin/busybox mount -t sysfs s /new/sys
/bin/busybox mount -t devtmpfs d /new/dev
/bin/busybox mount -t tmpfs t /new/run
/bin/busybox mkdir -p /new/var/lib/bluetooth
/bin/busybox ip link set lo up
/bin/busybox chroot /new {command}
/bin/busybox poweroff -f
"""


def cache() -> Path:
    """Where `prepare.sh` left kernel and bumble."""
    told = os.environ.get("RISEWALK_VM_CACHE")
    base = Path(os.environ.get("XDG_CACHE_HOME", Path.home() / ".cache"))
    return Path(told) if told else base / "risewalk-vm"


def missing() -> str:
    """What is not there that the machine needs; empty where all is."""
    lacks = [name for name in PROGRAMS if shutil.which(name) is None]
    lacks += [str(p) for p in (BLUETOOTHD, cache() / "kernel", cache() / "bumble") if not p.exists()]
    return f"not here: {', '.join(lacks)}; run tests/vm/prepare.sh" if lacks else ""


@dataclass(frozen=True)
class Machine:
    """One boot; `folder` takes the initial file system."""

    folder: Path

    def run(self, command: str, *, within_s: float) -> str:
        """Boot, run one command as root, power off, and return what the console showed."""
        kernel = cache() / "kernel"
        release = next((kernel / "lib" / "modules").iterdir()).name
        started = self._initial(kernel, release, command)
        arguments = [
            "qemu-system-x86_64", "-machine", "q35", "-cpu", CPU, "-accel", "tcg,thread=multi",
            "-smp", "2", "-m", "1024", "-nographic", "-no-reboot",
            "-kernel", str(kernel / "boot" / f"vmlinuz-{release}"), "-initrd", str(started),
            "-append", KERNEL,
            "-fsdev", "local,id=root,path=/,security_model=none,readonly=on,multidevs=remap",
            "-device", "virtio-9p-pci,fsdev=root,mount_tag=root", "-device", "virtio-rng-pci",
        ]  # fmt: skip
        console = self.folder / "console.txt"
        with console.open("wb") as out:
            subprocess.run(arguments, stdin=subprocess.DEVNULL, stdout=out, stderr=out, timeout=within_s, check=False)
        return console.read_text(errors="replace")

    def _initial(self, kernel: Path, release: str, command: str) -> Path:
        root = self.folder / "initial"
        for name in ("bin", "mod", "proc", "sys", "dev", "low", "up", "new"):
            (root / name).mkdir(parents=True)
        busybox = shutil.which("busybox")
        assert busybox is not None
        shutil.copy(busybox, root / "bin" / "busybox")
        for number, module in enumerate(self._modules(kernel, release)):
            shutil.copy(module, root / "mod" / f"{number:03d}-{Path(module).name}")
        init = root / "init"
        init.write_text(INIT.format(command=command))
        init.chmod(0o755)
        names = "\n".join(str(p.relative_to(root)) for p in sorted(root.rglob("*")))
        packed = subprocess.run(
            ["cpio", "--create", "--format=newc", "--quiet"],
            cwd=root,
            input=names.encode(),
            capture_output=True,
            check=True,
        )
        image = self.folder / "initial.gz"
        image.write_bytes(gzip.compress(packed.stdout, 1))
        return image

    @staticmethod
    def _modules(kernel: Path, release: str) -> list[str]:
        wanted: dict[str, None] = {}
        for module in MODULES:
            words = ["modprobe", "--dirname", str(kernel), "--set-version", release, "--show-depends", module]
            told = subprocess.run(words, capture_output=True, text=True, check=True).stdout
            wanted |= dict.fromkeys(line.split()[1] for line in told.splitlines() if line.startswith("insmod"))
        return list(wanted)


def inside(script: Path) -> str:
    """The command that runs a script of this folder in the machine, with this very Python."""
    return f"{sys.executable} {script} {cache() / 'bumble' / 'bin' / 'python'}"
