"""unit_lines: lines of the units, and how each of them is tried on a booted Debian (booted.py)."""

# What the sandbox forbids: line of the unit, what probe.c tries.
PROBED = {
    "NoNewPrivileges=yes": "gain-privileges",
    "CapabilityBoundingSet=": "keep-capabilities",
    "ProtectSystem=strict": "write-srv",
    "ProtectHome=yes": "see-homes",
    "PrivateTmp=yes": "see-tmp",
    "PrivateDevices=yes": "see-device",
    "DevicePolicy=closed": "open-device",
    "PrivateUsers=yes": "become-another",
    "PrivateIPC=yes": "see-shared-memory",
    "PrivateMounts=yes": "share-mounts",
    "ProtectClock=yes": "set-clock",
    "ProtectHostname=yes": "set-host-name",
    "ProtectKernelLogs=yes": "read-kernel-log",
    "ProtectKernelModules=yes": "see-modules",
    "ProtectKernelTunables=yes": "write-tunable",
    "ProtectControlGroups=yes": "make-control-group",
    "ProtectProc=invisible": "see-process-1",
    "ProcSubset=pid": "see-uptime",
    "LockPersonality=yes": "change-personality",
    "MemoryDenyWriteExecute=yes": "write-and-execute",
    "RestrictNamespaces=yes": "make-namespace",
    "RestrictRealtime=yes": "run-in-real-time",
    "RestrictSUIDSGID=yes": "set-suid-bit",
    "RestrictAddressFamilies=AF_INET AF_INET6 AF_UNIX AF_NETLINK": "open-packet-socket",
    "SystemCallArchitectures=native": "call-as-32-bit",
    "SystemCallFilter=@system-service": "call-mount",
    "SystemCallFilter=~@privileged @resources": "call-setpriority",
    "MemoryMax=1G": "take-memory",
    "TasksMax=64": "start-processes",
}
# Alone it means something only for the account.
AS_ACCOUNT = {"ProtectProc=invisible"}
# What the running daemon shows: line, property of systemctl show, its value (a pattern).
SHOWN = {
    "Type=notify": ("Type", "notify"),
    "NotifyAccess=main": ("NotifyAccess", "main"),
    "WatchdogSec=60": ("WatchdogUSec", "1min"),
    "TimeoutStartSec=90": ("TimeoutStartUSec", "1min 30s"),
    "TimeoutStopSec=30": ("TimeoutStopUSec", "30s"),
    "Restart=on-failure": ("Restart", "on-failure"),
    "RestartSec=5": ("RestartUSec", "5s"),
    "RestartPreventExitStatus=2": ("RestartPreventExitStatus", "2"),
    "MemorySwapMax=0": ("MemorySwapMax", "0"),
    "OOMPolicy=continue": ("OOMPolicy", "continue"),
}
# What /proc has of it: line, file, pattern.
IN_PROC = {
    "UMask=0027": ("status", r"^Umask:\s+0027$"),
    "AmbientCapabilities=": ("status", r"^CapAmb:\s+0+$"),
    "LimitNOFILE=4096": ("limits", r"^Max open files +4096 +4096 "),
    "LimitCORE=0": ("limits", r"^Max core file size +0 +0 "),
    'Environment="RES_OPTIONS=timeout:2 attempts:1"': ("environ", r"RES_OPTIONS=timeout:2 attempts:1"),
}
