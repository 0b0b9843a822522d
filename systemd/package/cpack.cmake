# The Debian package:
#     cmake --preset package && cmake --build --preset package --target package
# builds build-package/subslabd_VERSION_ARCHITECTURE.deb: what systemd/install.cmake installs, and
# what stage.cmake adds; and its debug symbols, subslabd-dbgsym_VERSION_ARCHITECTURE.ddeb, which are
# installed beside it. It is checked by tests/package/run.sh. For another machine, its libraries and
# compiler being there (as tests/machines does):
#     PKG_CONFIG_LIBDIR=/usr/lib/aarch64-linux-gnu/pkgconfig:/usr/share/pkgconfig cmake --preset package \
#         -D CMAKE_SYSTEM_NAME=Linux -D CMAKE_C_COMPILER=aarch64-linux-gnu-gcc
set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME subslabd)
set(CPACK_PACKAGE_VENDOR "the subslabd authors")
# No mailbox of ours exists yet; whoever hands packages out names one:
#     cmake --preset package -D SUBSLAB_PACKAGE_CONTACT="NAME <ADDRESS>"
set(SUBSLAB_PACKAGE_CONTACT "the subslabd authors <subslabd@packages.invalid>" CACHE STRING
    "who answers for the package: NAME <ADDRESS>")
set(CPACK_PACKAGE_CONTACT "${SUBSLAB_PACKAGE_CONTACT}")
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "watch over sub-slab depressurization systems")
set(CPACK_DEBIAN_PACKAGE_DESCRIPTION
    "Takes in what sensors on installed radon mitigation systems report over MQTT,\n\
keeps every reading, holds each system against the values measured when it was\n\
commissioned, and says early and in plain words what is going wrong and what to\n\
bring to the visit. Long-term radon averages are shown with their gaps and\n\
their uncertainty.\n\n\
This package has the daemon subslabd, the operator's tool subslabctl and units\n\
for one daemon or several on a machine. It needs an MQTT broker, on this\n\
machine or another.")
# What is stripped from the programs goes into a package of its own.
set(CPACK_DEBIAN_DEBUGINFO_PACKAGE ON)
set(CPACK_OBJCOPY_EXECUTABLE ${CMAKE_OBJCOPY})
set(CPACK_OBJDUMP_EXECUTABLE ${CMAKE_OBJDUMP})
set(CPACK_READELF_EXECUTABLE ${CMAKE_READELF})
set(CPACK_STRIP_EXECUTABLE ${CMAKE_STRIP})
if(SUBSLAB_DEBIAN_FLAGS)
    set(CPACK_DEBIAN_PACKAGE_ARCHITECTURE ${debian_architecture})
endif()
# The units name whole paths: install into DESTDIR with the final prefix.
set(CPACK_SET_DESTDIR ON)
set(CPACK_INSTALL_PREFIX /usr)
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)

set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_SECTION misc)
set(CPACK_DEBIAN_PACKAGE_PRIORITY optional)
set(CPACK_DEBIAN_COMPRESSION_TYPE xz)
set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS ON)
# procps: /bin/kill, with which the units reload. tzdata: the time zones of the systems. The rest
# makes the account, the groups and the folders. tzdata-legacy: where tzdata has only names of today.
set(CPACK_DEBIAN_PACKAGE_DEPENDS
    "systemd | systemd-standalone-sysusers, systemd | systemd-standalone-tmpfiles, procps, passwd, tzdata")
set(CPACK_DEBIAN_PACKAGE_RECOMMENDS "ca-certificates, tzdata-legacy")
set(CPACK_DEBIAN_PACKAGE_SUGGESTS "mosquitto, bash-completion")
set(CPACK_DEBIAN_PACKAGE_CONTROL_STRICT_PERMISSION ON)
set(CPACK_DEBIAN_PACKAGE_CONTROL_EXTRA
    ${CMAKE_CURRENT_LIST_DIR}/debian/conffiles ${CMAKE_CURRENT_LIST_DIR}/debian/postinst
    ${CMAKE_CURRENT_LIST_DIR}/debian/prerm ${CMAKE_CURRENT_LIST_DIR}/debian/postrm)

# stage.cmake finds its sources by this.
set(CPACK_SUBSLAB_SOURCE ${CMAKE_SOURCE_DIR})
set(CPACK_PROJECT_CONFIG_FILE ${CMAKE_CURRENT_LIST_DIR}/environment.cmake)
set(CPACK_POST_BUILD_SCRIPTS ${CMAKE_CURRENT_LIST_DIR}/repack.cmake)
set(CPACK_PRE_BUILD_SCRIPTS ${CMAKE_CURRENT_LIST_DIR}/stage.cmake)
include(CPack)
