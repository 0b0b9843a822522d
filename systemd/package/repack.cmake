# Run by cpack when the packages are made: makes each once more with Debian's own tool, for in cpack's the umask of
# whoever builds shows, and in that of the debug symbols its folder too.
foreach(package ${CPACK_PACKAGE_FILES})
    set(unpacked ${package}.unpacked)
    execute_process(COMMAND dpkg-deb -R ${package} ${unpacked} COMMAND_ERROR_IS_FATAL ANY)
    if(package MATCHES "-dbgsym_")
        execute_process(COMMAND chmod -R u=rwX,go=rX ${unpacked}/usr COMMAND_ERROR_IS_FATAL ANY)
        file(READ ${unpacked}/DEBIAN/md5sums sums)
        string(REGEX REPLACE "  [^\n]*-dbgsym/usr/" "  usr/" sums "${sums}")
        file(WRITE ${unpacked}/DEBIAN/md5sums "${sums}")
    endif()
    execute_process(COMMAND chmod -R u=rwX,go=rX ${unpacked}/DEBIAN COMMAND chmod go=rx ${unpacked}
                    COMMAND_ERROR_IS_FATAL ANY)
    execute_process(COMMAND dpkg-deb -b --root-owner-group -Zxz ${unpacked} ${package}
                    OUTPUT_QUIET COMMAND_ERROR_IS_FATAL ANY)
    file(REMOVE_RECURSE ${unpacked})
endforeach()
