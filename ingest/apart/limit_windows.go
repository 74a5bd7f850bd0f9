package apart

import (
	"os/exec"
	"unsafe"

	"golang.org/x/sys/windows"
)

// limitSelf leaves it to the job object and the watchman.
func limitSelf(memory, seconds int64) {}

// start starts cmd in a job object that ends it when it takes more memory, and with this
// process. It is put there right after its start; until then the watchman is alone.
func start(cmd *exec.Cmd, memory int64) (release func(), err error) {
	job, err := windows.CreateJobObject(nil, nil)
	if err != nil {
		return nil, err
	}
	release = func() { _ = windows.CloseHandle(job) }
	info := windows.JOBOBJECT_EXTENDED_LIMIT_INFORMATION{ProcessMemoryLimit: uintptr(memory)}
	info.BasicLimitInformation.LimitFlags = windows.JOB_OBJECT_LIMIT_PROCESS_MEMORY | windows.JOB_OBJECT_LIMIT_KILL_ON_JOB_CLOSE
	_, err = windows.SetInformationJobObject(job, windows.JobObjectExtendedLimitInformation, uintptr(unsafe.Pointer(&info)), uint32(unsafe.Sizeof(info)))
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		release()
		return nil, err
	}
	if h, err := windows.OpenProcess(windows.PROCESS_SET_QUOTA|windows.PROCESS_TERMINATE, false, uint32(cmd.Process.Pid)); err == nil {
		_ = windows.AssignProcessToJobObject(job, h)
		_ = windows.CloseHandle(h)
	}
	return release, nil
}
