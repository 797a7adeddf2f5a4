"""A Slurm cluster on one machine: munged, slurmctld, and a slurmd for each node, each node in a partition of its own.

Everything lies in a temporary folder, listens on free ports of this machine alone and ends with the script. No systemd and no control
groups are needed, and no root either, where Debian's packages are installed: slurmctld slurmd slurm-client munge."""

import os
import getpass
import secrets
import shutil
import signal
import socket
import subprocess
import time
from pathlib import Path

CONF = """\
ClusterName=bench
SlurmctldHost={host}(127.0.0.1)
SlurmUser={user}
SlurmdUser={user}
AuthType=auth/munge
CredType=cred/munge
# What is queued again may begin when the credential of its first run has expired: soon.
AuthInfo=socket={folder}/munge/socket,cred_expire=5
SlurmctldPort={port}
StateSaveLocation={folder}/state
SlurmctldPidFile={folder}/slurmctld.pid
SlurmctldLogFile={folder}/slurmctld.log
SlurmdSpoolDir={folder}/spool_%n
SlurmdPidFile={folder}/slurmd_%n.pid
SlurmdLogFile={folder}/slurmd_%n.log
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
JobAcctGatherType=jobacct_gather/none
AccountingStorageType=accounting_storage/none
SelectType=select/cons_tres
SelectTypeParameters=CR_CPU
SwitchType=switch/none
MpiDefault=none
ReturnToService=2
MessageTimeout=3
SlurmctldTimeout=30
# A node that says nothing for so long is dead, s.
SlurmdTimeout=6
SchedulerType=sched/backfill
SchedulerParameters=bf_interval=2,sched_interval=2,batch_sched_delay=1
SlurmdParameters=config_overrides
JobRequeue=1
"""
NODE = """\
NodeName={name} NodeHostname={host} NodeAddr=127.0.0.1 Port={port} CPUs={cpus} State=UNKNOWN
PartitionName={name} Nodes={name} MaxTime=INFINITE State=UP
"""


def free_ports(count):
    """Ports that nobody listens on now."""
    sockets = [socket.socket() for _ in range(count)]
    for s in sockets:
        s.bind(("127.0.0.1", 0))
    ports = [s.getsockname()[1] for s in sockets]
    for s in sockets:
        s.close()
    return ports


def wait_until(what, is_so, limit_s=60.0):
    """Waits until `is_so()` gives something, and gives that."""
    end = time.monotonic() + limit_s
    while time.monotonic() < end:
        found = is_so()
        if found:
            return found
        time.sleep(0.1)
    raise TimeoutError(f"{what}: not within {limit_s:.0f} s")


def processes():
    """(process, parent, name, environment) of each process that may be looked at."""
    for entry in Path("/proc").iterdir():
        if not entry.name.isdigit():
            continue
        try:
            name, rest = (entry / "stat").read_text().split("(", 1)[1].rsplit(")", 1)
            yield int(entry.name), int(rest.split()[1]), name, (entry / "environ").read_bytes()
        except OSError:
            continue


class Cluster:
    """A cluster whose nodes have these names, and so many CPUs each. Use it in a `with`."""

    def __init__(self, folder: Path, names, cpus=1):
        self.folder, self.names, self.cpus = folder.resolve(), list(names), cpus
        self.daemons = {}
        self.env = dict(os.environ, SLURM_CONF=str(self.folder / "slurm.conf"))

    def __enter__(self):
        # Debian has the daemons where only root looks.
        path = os.environ["PATH"] + ":/usr/sbin:/sbin"
        lacking = [p for p in ("munged", "slurmctld", "slurmd", "sbatch") if not shutil.which(p, path=path)]
        if lacking:
            raise SystemExit(f"not installed: {', '.join(lacking)}; apt-get install slurmctld slurmd slurm-client munge")
        self.env["PATH"] = path
        munge = self.folder / "munge"
        munge.mkdir(parents=True, mode=0o755)
        (self.folder / "state").mkdir()
        key = munge / "key"
        key.write_bytes(secrets.token_bytes(128))
        key.chmod(0o400)
        host = socket.gethostname().split(".")[0]
        ports = free_ports(1 + len(self.names))
        conf = CONF.format(host=host, user=getpass.getuser(), folder=self.folder, port=ports[0])
        for name, port in zip(self.names, ports[1:]):
            (self.folder / f"spool_{name}").mkdir()
            conf += NODE.format(name=name, host=host, port=port, cpus=self.cpus)
        (self.folder / "slurm.conf").write_text(conf)
        try:
            self._start("munged", "--foreground", "--force", f"--key-file={key}", f"--socket={munge}/socket",
                        f"--pid-file={munge}/pid", f"--log-file={munge}/log", f"--seed-file={munge}/seed")
            wait_until("munged listens", (munge / "socket").exists)
            self._start("slurmctld", "-D")
            for name in self.names:
                self._start("slurmd", "-D", "-N", name, key=name)
            self.wait_for_nodes()
        except BaseException:
            self.__exit__()
            raise
        return self

    def __exit__(self, *_):
        for name in self.names:
            self.send(name, signal.SIGKILL)
        for daemon in self.daemons.values():
            daemon.kill()
            daemon.wait()

    def _start(self, program, *words, key=None):
        with open(self.folder / f"{key or program}.out", "ab") as out:
            self.daemons[key or program] = subprocess.Popen(
                [program, *words], env=self.env, stdout=out, stderr=out, stdin=subprocess.DEVNULL, start_new_session=True)

    def wait_for_nodes(self):
        """Waits until all nodes take jobs."""
        def are_idle():
            told = self.run("sinfo", "--noheader", "--Node", "--format=%N %t", check=False).split()
            return told.count("idle") == len(self.names)
        try:
            wait_until("all nodes take jobs", are_idle)
        except TimeoutError as e:
            logs = "".join(f"== {p.name}\n{p.read_text(errors='replace')[-2000:]}" for p in sorted(self.folder.glob("*.log")))
            raise SystemExit(f"{e}\n{logs}") from e

    def run(self, *words, check=True, cwd=None):
        """What a command of Slurm prints."""
        ran = subprocess.run(list(map(str, words)), env=self.env, cwd=cwd, capture_output=True, text=True)
        if check and ran.returncode:
            raise SystemExit(f"{' '.join(map(str, words))}: {ran.stderr.strip()}")
        return ran.stdout.strip()

    def on_node(self, name):
        """Processes of jobs on a node, with those that started them; no daemon is among them."""
        found = list(processes())
        names = {p: (parent, comm) for p, parent, comm, _ in found}
        spool = f"SLURM_CONF={self.folder}/".encode()
        own = {p for p, _, _, env in found if f"SLURMD_NODENAME={name}".encode() in env.split(b"\0") and spool in env}
        steps = {names[p][0] for p in own if names.get(names[p][0], (0, ""))[1].startswith("slurmstepd")}
        return sorted(own | steps)

    @staticmethod
    def _send(process, what):
        try:
            os.kill(process, what)
        except ProcessLookupError:
            pass

    def send(self, name, what):
        """Sends a signal to all jobs on a node."""
        for process in self.on_node(name):
            self._send(process, what)

    def kill_node(self, name):
        """A node dies: its daemon and everything on it at once."""
        self.daemons[name].kill()
        self.daemons[name].wait()
        while self.on_node(name):
            self.send(name, signal.SIGKILL)
            time.sleep(0.05)

    def tasks(self, job):
        """(number of the task, state, node) of each task of an array that is not over."""
        told = self.run("squeue", "--noheader", "--array", f"--jobs={job}", "--format=%K %t %N", check=False)
        lines = (line.split() for line in told.splitlines())
        return [(int(w[0]), w[1], w[2] if len(w) > 2 else "") for w in lines if w]

    def is_over(self, job):
        """Whether nothing of a job is left in the queue."""
        return not self.run("squeue", "--noheader", f"--jobs={job}", check=False)
