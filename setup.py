"""The packages of the wheel: the service, and within it what lies beside it here, the migrations and the contract."""

from setuptools import find_packages, setup

BESIDE = {
    "service.migrations": "migrations",
    "service.migrations.versions": "migrations/versions",
    "service.openapi": "openapi",
}

setup(
    packages=[*find_packages(include=["service", "service.*"]), *BESIDE],
    package_dir=BESIDE,
    package_data={
        "service.documents": ["catalogues/*.po", "catalogues/*/*.po", "templates/*"],
        "service.migrations": ["script.py.mako"],
        "service.openapi": ["openapi.yaml"],
    },
)
