# Read by cpack before it makes the package: what the programs that it runs find in their environment.

# Whoever builds this source again, anywhere and at any time, gets the same bytes: the times in the
# package are that of the last change, not of the build.
if(NOT DEFINED ENV{SOURCE_DATE_EPOCH})
    execute_process(COMMAND git -C ${CPACK_SUBSLAB_SOURCE} log -1 --format=%ct
                    OUTPUT_VARIABLE epoch OUTPUT_STRIP_TRAILING_WHITESPACE ERROR_QUIET)
    if(NOT epoch)
        file(TIMESTAMP ${CPACK_SUBSLAB_SOURCE}/CHANGELOG.md epoch "%s" UTC)
    endif()
    set(ENV{SOURCE_DATE_EPOCH} ${epoch})
endif()
# dpkg-shlibdeps looks for the libraries of that machine.
set(ENV{DEB_HOST_ARCH} ${CPACK_DEBIAN_PACKAGE_ARCHITECTURE})
