package media

import "golang.org/x/sys/windows"

var (
	pulledOut = []error{windows.ERROR_NOT_READY, windows.ERROR_DEVICE_NOT_CONNECTED, windows.ERROR_NO_SUCH_DEVICE,
		windows.ERROR_DEV_NOT_EXIST, windows.ERROR_DEVICE_REMOVED, windows.ERROR_FILE_INVALID}
	full       = []error{windows.ERROR_DISK_FULL, windows.ERROR_HANDLE_DISK_FULL}
	overQuota  = []error{windows.ERROR_DISK_QUOTA_EXCEEDED}
	fileTooBig = []error{windows.ERROR_FILE_TOO_LARGE}
	readOnly   = []error{windows.ERROR_WRITE_PROTECT}
	broken     = []error{windows.ERROR_IO_DEVICE, windows.ERROR_CRC, windows.ERROR_SECTOR_NOT_FOUND,
		windows.ERROR_FILE_CORRUPT}
	notAllowed = []error{windows.ERROR_ACCESS_DENIED}
)
