package pg

import "syscall"

func followParent(attr *syscall.SysProcAttr) { attr.Pdeathsig = syscall.SIGINT }
